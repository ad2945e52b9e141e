package bench

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"ramprow/internal/platform/lifecycle"
	"ramprow/internal/platform/telemetry"
	"ramprow/services/ramprow/stack"
)

// Config says what is measured, and for how long.
type Config struct {
	// Callers are the numbers of callers at once that are measured.
	Callers []int
	// Sites are the numbers of sites among which the callers are shared out.
	Sites []int
	// Duration of one leg of one round at one number of callers.
	Duration time.Duration
	Rounds   int
	// Jobs from diagnosis to bay; fewer if their time is over. None: not measured.
	Jobs int
	// Places are what the workshop stands on, one after another; none: embedded.
	Places []Place
	// Profiles is a folder that takes profiles of the commands, made after the
	// rounds and so without disturbing them. Empty: none are made.
	Profiles string
	// Progress takes a line for each step; nil for silence.
	Progress io.Writer

	// Dir is set by Run: a temporary folder, one for each place.
	Dir string
	run string // part of the sites' names, so that runs on one broker do not meet
}

// Place is a broker and a Redis for the workshop to stand on.
type Place struct {
	Name string
	// Backend connects to them, and may first start them in a folder; nil embeds them.
	Backend func(dir string, t *telemetry.Telemetry, closers *lifecycle.Closers) (*stack.Backend, error)
	// Improve is how long better plans are searched beside the writer at a time; zero: not at all.
	Improve time.Duration
}

// Limits of a run.
const (
	maxCallers = 1000 // the site's queue takes 1024
	maxSites   = 64
	maxRounds  = 100
	maxJobs    = 10_000
)

func (c Config) check() error {
	switch {
	case !within(c.Callers, maxCallers):
		return fmt.Errorf("the numbers of callers are 1 to %d", maxCallers)
	case !within(c.Sites, maxSites):
		return fmt.Errorf("the numbers of sites are 1 to %d", maxSites)
	case c.Duration <= 0:
		return errors.New("a round needs a duration above zero, as in 1s")
	case c.Rounds < 1 || c.Rounds > maxRounds:
		return fmt.Errorf("the rounds are 1 to %d", maxRounds)
	case c.Jobs < 0 || c.Jobs > maxJobs:
		return fmt.Errorf("the jobs are at most %d", maxJobs)
	}
	return nil
}

func within(numbers []int, most int) bool {
	return len(numbers) > 0 && slices.Min(numbers) >= 1 && slices.Max(numbers) <= most
}

// crowd is a number of callers, shared out among a number of sites.
type crowd struct{ callers, sites int }

// crowds gives what is measured: a site without a caller would be no site more.
func (c Config) crowds() []crowd {
	var all []crowd
	for _, sites := range c.Sites {
		for _, callers := range c.Callers {
			if callers >= sites {
				all = append(all, crowd{callers, sites})
			}
		}
	}
	return all
}

func (c Config) site(name string) string { return "bench-" + name + "-" + c.run }

func (c Config) say(format string, args ...any) {
	if c.Progress != nil {
		_, _ = fmt.Fprintf(c.Progress, format+"\n", args...) // nobody may be looking
	}
}

// Run measures. Whatever it makes on this machine is gone when it returns, but
// for the profiles; on a broker outside, the sites of the run stay, since a log
// forgets nothing.
func Run(ctx context.Context, c Config) (_ *Report, err error) {
	if err := c.check(); err != nil {
		return nil, err
	}
	if len(c.Places) == 0 {
		c.Places = []Place{{Name: Embedded}}
	}
	c.run = strings.ToLower(rand.Text()[:8])
	dir, err := os.MkdirTemp("", "ramprow-bench-")
	if err != nil {
		return nil, fmt.Errorf("make a temporary folder: %w", err)
	}
	defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	report := newReport(c)
	for i, place := range c.Places {
		c.Dir = filepath.Join(dir, fmt.Sprint(i))
		measured, err := c.at(ctx, place)
		if err != nil {
			return nil, stopped(ctx, err)
		}
		report.add(measured)
	}
	return report, nil
}

// Embedded names the place inside this process.
const Embedded = "embedded"

// at measures one place.
func (c Config) at(ctx context.Context, place Place) (*Measured, error) {
	c.say("%s:", place.Name)
	measured := &Measured{Place: place.Name}
	if err := c.measure(ctx, place, measured); err != nil {
		return nil, err
	}
	c.say("where the time of a command goes")
	var err error
	measured.Division, err = divide(ctx, c, place)
	return measured, err
}

// measure fills all but the division, whose spans would disturb.
func (c Config) measure(ctx context.Context, place Place, measured *Measured) (err error) {
	s, err := open(ctx, c.Dir, place, nil)
	if err != nil {
		return err
	}
	defer func() { err = joinClose(err, s) }()
	t, err := newTrack(ctx, s, c)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, t.raw.Close(context.WithoutCancel(ctx))) }()
	rounds, err := t.measure(c)
	if err != nil {
		return err
	}
	measured.throughput(c, rounds)
	measured.PayloadBytes = t.payload
	if c.Profiles != "" {
		if err := t.profile(c, place.Name); err != nil {
			return err
		}
	}
	if measured.Log, err = t.count(ctx); err != nil {
		return err
	}
	if c.Jobs == 0 {
		return nil
	}
	c.say("%d jobs from diagnosis to bay", c.Jobs)
	measure := func() error {
		took, err := diagnose(ctx, s, c.site("jobs"), c.Jobs)
		measured.Diagnosis = diagnosisOf(c.Jobs, took)
		return err
	}
	if c.Profiles == "" {
		return measure()
	}
	// A hundred looks a second are not felt among waits of milliseconds.
	return profileCPU(c.profileName(place.Name, "diagnosis-cpu"), measure)
}

func joinClose(err error, s *stand) error { return errors.Join(err, s.close()) }

// stopped tells that somebody ended the run, whatever failed because of it.
func stopped(ctx context.Context, err error) error {
	if ctx.Err() != nil {
		return fmt.Errorf("the measurement was stopped: %w", ctx.Err())
	}
	return err
}
