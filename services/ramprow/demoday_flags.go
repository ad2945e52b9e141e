package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/telemetry"
	"ramprow/services/ramprow/demoday"
	"ramprow/services/ramprow/stack"
	"ramprow/services/terminal"
)

// demoDayConfig says whether an invented day lives in the workshop.
type demoDayConfig struct {
	on    bool
	speed float64
	seed  uint64
}

const (
	maxSpeed      = 600
	demoDayTokens = 366 * 24 * time.Hour
	demoDayBegins = 6*time.Hour + 50*time.Minute // after midnight
)

func (c *demoDayConfig) bind(command *cobra.Command) {
	flags := command.Flags()
	flags.BoolVar(&c.on, "demo-day", false, "let an invented, living day fill the workshop: 6 bays, 6 technicians, cars that come and go; needs an empty folder")
	flags.Float64Var(&c.speed, "speed", 20, "with --demo-day: how many times faster than real time the day goes")
	flags.Uint64Var(&c.seed, "seed", 1, "with --demo-day: which cars come")
}

func (c *demoDayConfig) check(dir string) error {
	if !c.on {
		return nil
	}
	if c.speed < 1 || c.speed > maxSpeed {
		return fmt.Errorf("--speed %g is out of range; use 1 to %d", c.speed, maxSpeed)
	}
	if _, err := os.Stat(filepath.Join(dir, "nats")); err == nil {
		return fmt.Errorf("%s holds a workshop already; name an empty folder with --data for the demo day", dir)
	}
	return nil
}

// clock begins today before the doors open; nil without a demo day.
func (c *demoDayConfig) clock() *demoday.Clock {
	if !c.on {
		return nil
	}
	now := time.Now()
	midnight := time.Date(now.Year(), now.Month(), now.Day(), 0, 0, 0, 0, now.Location())
	return demoday.NewClock(midnight.Add(demoDayBegins), c.speed)
}

// live plays the people until the workshop is closed.
func (c *upConfig) live(ctx context.Context, out io.Writer, workshop *stack.Workshop, clock *demoday.Clock, t *telemetry.Telemetry) (err error) {
	clients, err := terminal.Dial(terminal.DialConfig{Addresses: workshop.Addresses(), Telemetry: t})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, clients.Close()) }()
	run, err := demoday.Open(ctx, demoday.Config{
		Clients: clients, Clock: clock, Seed: c.day.seed,
		Token: func(person string, role identity.Role) (string, error) {
			return workshop.Token(c.site, person, demoDayTokens, role)
		},
		Note: func(format string, args ...any) { t.Logger().WarnContext(ctx, fmt.Sprintf(format, args...)) },
	})
	if err != nil {
		return err
	}
	if _, err := fmt.Fprintf(out, "\nA day of invented cars goes by, %g times as fast as real time (it is %s there). Nothing in it is workshop data.\n",
		c.day.speed, clock.Now().Format("15:04")); err != nil {
		return err
	}
	return run(ctx)
}
