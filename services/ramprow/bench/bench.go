package bench

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io"
	"os"
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
	// Duration of one leg of one round at one number of callers.
	Duration time.Duration
	Rounds   int
	// Jobs from diagnosis to bay; fewer if their time is over. None: not measured.
	Jobs int
	// Backend makes what the workshop stands on; nil embeds it in a temporary
	// folder.
	Backend func(*telemetry.Telemetry, *lifecycle.Closers) (*stack.Backend, error)
	// Progress takes a line for each step; nil for silence.
	Progress io.Writer

	// Dir is set by Run: a temporary folder.
	Dir string
	run string // part of the sites' names, so that runs on one broker do not meet
}

// Limits of a run.
const (
	maxCallers = 1000 // the site's queue takes 1024
	maxRounds  = 100
	maxJobs    = 10_000
)

func (c Config) check() error {
	switch {
	case len(c.Callers) == 0 || slices.Min(c.Callers) < 1 || slices.Max(c.Callers) > maxCallers:
		return fmt.Errorf("the numbers of callers are 1 to %d", maxCallers)
	case c.Duration <= 0:
		return errors.New("a round needs a duration above zero, as in 1s")
	case c.Rounds < 1 || c.Rounds > maxRounds:
		return fmt.Errorf("the rounds are 1 to %d", maxRounds)
	case c.Jobs < 0 || c.Jobs > maxJobs:
		return fmt.Errorf("the jobs are at most %d", maxJobs)
	}
	return nil
}

func (c Config) largest() int { return slices.Max(c.Callers) }

func (c Config) site(name string) string { return "bench-" + name + "-" + c.run }

func (c Config) say(format string, args ...any) {
	if c.Progress != nil {
		_, _ = fmt.Fprintf(c.Progress, format+"\n", args...) // nobody may be looking
	}
}

// Run measures. Whatever it makes on this machine is gone when it returns; on a
// broker outside, the sites of the run stay, since a log forgets nothing.
func Run(ctx context.Context, c Config) (_ *Report, err error) {
	if err := c.check(); err != nil {
		return nil, err
	}
	c.run = strings.ToLower(rand.Text()[:8])
	if c.Dir, err = os.MkdirTemp("", "ramprow-bench-"); err != nil {
		return nil, fmt.Errorf("make a temporary folder: %w", err)
	}
	defer func() { err = errors.Join(err, os.RemoveAll(c.Dir)) }()
	report := newReport(c)
	if err := measure(ctx, c, report); err != nil {
		return nil, stopped(ctx, err)
	}
	c.say("where the time of a command goes")
	if report.Division, err = divide(ctx, c); err != nil {
		return nil, stopped(ctx, err)
	}
	return report, nil
}

// measure fills the report but for the division, whose spans would disturb.
func measure(ctx context.Context, c Config, report *Report) (err error) {
	s, err := open(ctx, c, nil)
	if err != nil {
		return err
	}
	defer func() { err = joinClose(err, s) }()
	t, err := newTrack(ctx, s, c.site("goods"))
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, t.raw.Close(context.WithoutCancel(ctx))) }()
	rounds, err := t.measure(c)
	if err != nil {
		return err
	}
	report.throughput(c, rounds)
	report.PayloadBytes = t.payload
	if report.Log, err = t.shelf.count(ctx); err != nil {
		return err
	}
	if c.Jobs == 0 {
		return nil
	}
	c.say("%d jobs from diagnosis to bay", c.Jobs)
	took, err := diagnose(ctx, s, c.site("jobs"), c.Jobs)
	report.Diagnosis = diagnosisOf(c.Jobs, took)
	return err
}

func joinClose(err error, s *stand) error { return errors.Join(err, s.close()) }

// stopped tells that somebody ended the run, whatever failed because of it.
func stopped(ctx context.Context, err error) error {
	if ctx.Err() != nil {
		return fmt.Errorf("the measurement was stopped: %w", ctx.Err())
	}
	return err
}
