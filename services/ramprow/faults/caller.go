package faults

import (
	"context"
	"fmt"
	"math/rand/v2"

	"ramprow/internal/catalogue"
	"ramprow/internal/platform/simulation"
	"ramprow/services/ramprow/simulate"
	"ramprow/services/terminal"
)

const (
	// repeatEvery and lookEvery are how often a caller, on the average, sends an
	// answered command once more and reads what it has just written.
	repeatEvery = 25
	lookEvery   = 12
)

// caller is one person who takes cars from intake to payment.
type caller struct {
	desk

	name  string
	r     *rand.Rand
	shift *simulate.Shift
	asked int
	known uint64 // the newest revision of the job's log that it was told
}

// newCaller has so many cars in work at the same time.
func newCaller(d desk, c Config, number, cars int, family *catalogue.Catalogue) *caller {
	return &caller{
		desk: d, name: fmt.Sprintf("caller-%d", number),
		r:     rand.New(rand.NewPCG(c.Seed, uint64(number))), //nolint:gosec // small
		shift: simulate.NewShift(family, cars, c.Began),
	}
}

// work goes on until leave is closed. What was begun is brought to its end, for
// as long as ctx lives.
func (c *caller) work(ctx context.Context, leave <-chan struct{}) error {
	for {
		select {
		case <-leave:
			return nil
		case <-ctx.Done():
			return ctx.Err()
		default:
		}
		if err := c.once(ctx); err != nil {
			return err
		}
	}
}

// once asks for one thing, and takes in what came of it.
func (c *caller) once(ctx context.Context) error {
	c.asked++
	request, ok := c.shift.Next(c.r, fmt.Sprintf("%s-%06d", c.name, c.asked))
	if !ok {
		return nil
	}
	call := &simulation.Call{Request: request}
	refused, err := c.ask(ctx, call)
	if err != nil {
		return err
	}
	c.shift.Heard(call)
	if !refused && request.Service == terminal.RoleJob {
		c.known = max(c.known, revisionOf(call.Answer))
	}
	switch draw := c.r.IntN(repeatEvery * lookEvery); {
	case refused:
		// What the others did has not been heard of yet.
		return c.refresh(ctx)
	case draw%repeatEvery == 0:
		return c.again(ctx, call)
	case draw%lookEvery == 1:
		return c.refresh(ctx)
	}
	return nil
}

// refresh reads a car that is in work, at least as new as all that it was told.
func (c *caller) refresh(ctx context.Context) error {
	job := c.shift.Job(c.r)
	if job == "" {
		return nil
	}
	response, err := c.look(ctx, job, c.known)
	if err != nil {
		return err
	}
	c.shift.Heard(&simulation.Call{Answer: response})
	return nil
}
