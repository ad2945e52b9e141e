package bench

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"time"

	"ramprow/services/ramprow/simulate/invariants"
)

// HoldsConfig says how many people fight for how little, and how often the
// inventory is killed meanwhile.
type HoldsConfig struct {
	Callers int
	Parts   int
	// Holds is how often somebody tries to hold parts for a job.
	Holds int
	// Kills of the inventory's process, spread over the fight.
	Kills int
	// Duration of each leg of the throughput; 0: not measured.
	Duration time.Duration
	// Check bounds the search for an order of the calls that explains all answers.
	Check time.Duration
	// Program is this program's file: the inventory runs as a process of its own.
	Program string
	// Progress takes a line for each step; nil for silence.
	Progress io.Writer
}

// Limits of a fight.
const (
	mostParts = 64
	mostHolds = 100_000
	mostKills = 100
)

func (c HoldsConfig) check() error {
	switch {
	case c.Callers < 1 || c.Callers > maxCallers:
		return fmt.Errorf("the callers are 1 to %d", maxCallers)
	case c.Parts < 2 || c.Parts > mostParts:
		return fmt.Errorf("the parts are 2 to %d", mostParts)
	case c.Holds < 1 || c.Holds > mostHolds:
		return fmt.Errorf("the holds are 1 to %d", mostHolds)
	case c.Kills < 0 || c.Kills > mostKills:
		return fmt.Errorf("the kills are at most %d", mostKills)
	case c.Duration < 0:
		return errors.New("the duration of a leg cannot be negative")
	case c.Check <= 0:
		return errors.New("the check needs a time above zero, as in 1m")
	}
	return nil
}

func (c HoldsConfig) say(format string, args ...any) {
	if c.Progress != nil {
		_, _ = fmt.Fprintf(c.Progress, format+"\n", args...) // nobody may be looking
	}
}

// HoldsReport is what a fight has shown. It is only there if everything held.
type HoldsReport struct {
	Callers int `json:"callers"`
	Parts   int `json:"parts"`
	Kills   int `json:"kills"`
	// Of the holds, how many were given, and what became of those.
	Asked    int `json:"holds_asked"`
	Given    int `json:"holds_given"`
	Refused  int `json:"holds_refused"`
	Released int `json:"released"`
	Expired  int `json:"expired"`
	Issued   int `json:"issued"`
	// Calls with an answer, and ends that came by themselves.
	Calls   int     `json:"calls"`
	Seconds float64 `json:"seconds"`
	// Operations that one order explains, found in CheckSeconds.
	Linearized   int     `json:"operations_linearized"`
	CheckSeconds float64 `json:"check_seconds"`
	// Received, issued and counted pieces in the log, which give what is on hand.
	Pieces     Pieces       `json:"pieces"`
	Throughput []HoldsSpeed `json:"throughput,omitempty"`
}

// Pieces sums the movements of all parts.
type Pieces struct {
	Received int64 `json:"received"`
	Issued   int64 `json:"issued"`
	Counted  int64 `json:"counted"`
	OnHand   int64 `json:"on_hand"`
}

// HoldsSpeed is one leg of the throughput.
type HoldsSpeed struct {
	What string `json:"what"`
	Figures
	TimesBroker float64 `json:"times_broker"`
}

// RunHolds lets callers fight, checks everything, and measures how fast holds
// are given beside the bare broker.
func RunHolds(ctx context.Context, c HoldsConfig) (_ *HoldsReport, err error) {
	if err := c.check(); err != nil {
		return nil, err
	}
	dir, err := os.MkdirTemp("", "ramprow-holds-")
	if err != nil {
		return nil, fmt.Errorf("make a temporary folder: %w", err)
	}
	defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	c.say("the inventory starts as a process of its own")
	s, err := openOutpost(ctx, c.Program, dir)
	if err != nil {
		return nil, stopped(ctx, err)
	}
	defer func() { err = errors.Join(err, s.close()) }()
	report := &HoldsReport{Callers: c.Callers, Parts: c.Parts, Kills: c.Kills, Asked: c.Holds}
	if err := fightAndProve(ctx, c, s, report); err != nil {
		return nil, stopped(ctx, err)
	}
	if c.Duration > 0 {
		c.say("how fast holds are given, beside the bare broker")
		if report.Throughput, err = holdsThroughput(ctx, c, s); err != nil {
			return nil, stopped(ctx, err)
		}
	}
	return report, nil
}

func fightAndProve(ctx context.Context, c HoldsConfig, s *outpost, report *HoldsReport) error {
	f, err := newFight(ctx, c, s)
	if err != nil {
		return err
	}
	c.say("%d callers fight for %d parts, %d holds, %d kills", c.Callers, c.Parts, c.Holds, c.Kills)
	began := time.Now()
	if err := f.run(); err != nil {
		return err
	}
	report.Seconds = time.Since(began).Seconds()
	f.tell(report)
	c.say("what the log says")
	if err := f.prove(report); err != nil {
		return err
	}
	c.say("whether one order explains all %d answers", len(f.history))
	began = time.Now()
	if err := linearize(f.history, c.Parts, c.Check); err != nil {
		return err
	}
	report.Linearized, report.CheckSeconds = len(f.history), time.Since(began).Seconds()
	return nil
}

// violationsOf gives the first few of a list in words, or nil.
func violationsOf(list []invariants.Violation) error {
	const told = 5
	var failures []error
	for i, v := range list {
		if i == told {
			failures = append(failures, fmt.Errorf("and %d more", len(list)-told))
			break
		}
		failures = append(failures, errors.New(v.String()))
	}
	return errors.Join(failures...)
}
