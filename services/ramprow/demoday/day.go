package demoday

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"math"
	mathrand "math/rand/v2"
	"sync"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"ramprow/internal/catalogue"
	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/rpc"
	torqueauditv1 "ramprow/proto/ramprow/torque_audit/v1"
	"ramprow/services/terminal"
)

// Config is what a day needs.
type Config struct {
	Clients *terminal.Clients
	Clock   *Clock
	// Token lets a person of the day's site act in a role.
	Token func(person string, role identity.Role) (string, error)
	Seed  uint64
	// Note is told what went otherwise than people wanted; nil: nobody.
	Note func(format string, args ...any)
}

const (
	carsADay   = 11.0
	opensAt    = 7  // hours after midnight
	closesAt   = 18 //
	lastIntake = 15 //
)

// The people of the invented workshop.
var (
	owner       = person{"ines", identity.Owner}
	dispatcher  = person{"dario", identity.Dispatcher}
	clerk       = person{"clara", identity.PartsClerk}
	technicians = []person{
		{"tomas", identity.Technician},
		{"runa", identity.Technician},
		{"malik", identity.Technician},
		{"tove", identity.Technician},
		{"bruno", identity.Technician},
		{"selma", identity.Technician},
	}
)

type person struct {
	name string
	role identity.Role
}

// day is a workshop while it lives.
type day struct {
	Config

	tokens     map[string]string
	catalogues []*catalogue.Catalogue
	register   []*torqueauditv1.Wrench
}

// Open furnishes a workshop; Run lets it live. The site must be empty.
func Open(ctx context.Context, c Config) (run func(context.Context) error, err error) {
	d := &day{Config: c, tokens: map[string]string{}}
	if d.Note == nil {
		d.Note = func(string, ...any) {}
	}
	for _, p := range append([]person{owner, dispatcher, clerk}, technicians...) {
		if d.tokens[p.name], err = c.Token(p.name, p.role); err != nil {
			return nil, err
		}
	}
	if err := d.furnish(ctx); err != nil {
		return nil, fmt.Errorf("furnish the workshop: %w", err)
	}
	return d.live, nil
}

// live lets cars come until ctx ends: a few that stayed overnight, then others
// at random over each day.
func (d *day) live(ctx context.Context) error {
	r := mathrand.New(mathrand.NewPCG(d.Seed, 1))
	var people sync.WaitGroup
	defer people.Wait()
	people.Go(func() { d.buy(ctx) })
	for number := 1; ; number++ {
		v := d.arrival(number)
		people.Go(func() { d.visit(ctx, v) })
		gap := untilNextCar(r)
		if number < 4 {
			gap = time.Minute
		}
		if err := d.nextArrival(ctx, gap); err != nil {
			return nil // the day was told to end
		}
	}
}

// untilNextCar draws from an exponential: cars come independently of one another, carsADay of them.
func untilNextCar(r *mathrand.Rand) time.Duration {
	return time.Duration(-math.Log(1-r.Float64()) * float64((lastIntake-opensAt)*time.Hour) / carsADay)
}

// nextArrival waits for a gap, and over the night if the last intake has passed.
func (d *day) nextArrival(ctx context.Context, gap time.Duration) error {
	at := d.Clock.Now().Add(gap)
	morning := time.Date(at.Year(), at.Month(), at.Day(), opensAt, 0, 0, 0, at.Location())
	switch {
	case at.Hour() >= lastIntake:
		at = morning.AddDate(0, 0, 1)
	case at.Before(morning):
		at = morning
	}
	return d.Clock.until(ctx, at)
}

// as gives a context in which calls are made by a person.
func (d *day) as(ctx context.Context, p person) context.Context {
	return rpc.WithToken(ctx, d.tokens[p.name])
}

func once() string { return rand.Text() }

// unreachable tells of errors that pass.
func unreachable(err error) bool {
	switch status.Code(err) {
	case codes.Unavailable, codes.DeadlineExceeded, codes.Aborted:
		return true
	default:
		return false
	}
}

var errGone = errors.New("the job is over")
