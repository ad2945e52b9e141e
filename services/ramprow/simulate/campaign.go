package simulate

import (
	"context"
	"errors"
	"sync"
)

// longEvery is how often a day is long; most are short, since most of what goes
// wrong does so soon, and short days are cheap.
const (
	longEvery  = 10
	longSteps  = 400
	shortSteps = 110
)

// StepsOf gives how long a seed's day is when nothing else is said.
func StepsOf(seed uint64) int {
	if seed%longEvery == 0 {
		return longSteps
	}
	return shortSteps
}

// Campaign is many days.
type Campaign struct {
	From  uint64
	Seeds int
	// Steps of each day; 0: by StepsOf.
	Steps int
	// Workers live that many days at the same time; at least one.
	Workers int
	// Each is told of every verdict, one at a time; false ends the campaign.
	Each func(v Verdict) (goOn bool)

	plant func() wrapping
}

// Run lives the days. The error is a defect of the simulator, or that of ctx.
func (c Campaign) Run(ctx context.Context) error {
	ctx, stop := context.WithCancelCause(ctx)
	defer stop(nil)
	seeds := make(chan uint64)
	var workers sync.WaitGroup
	var mu sync.Mutex
	ended := false
	for range max(1, c.Workers) {
		workers.Go(func() {
			// A day that takes its goroutine with it, as a data race in a test does, must
			// not leave the others waiting for work that nobody takes.
			lost := true
			defer func() {
				if lost {
					stop(errLost)
				}
			}()
			for seed := range seeds {
				v, err := c.day(seed).Judge()
				if err != nil {
					stop(err)
					break
				}
				mu.Lock()
				if !ended && !c.Each(v) {
					ended = true
					stop(nil)
				}
				mu.Unlock()
			}
			lost = false
		})
	}
	c.deal(ctx, seeds)
	close(seeds)
	workers.Wait()
	if ended {
		return nil
	}
	return context.Cause(ctx)
}

var errLost = errors.New("a day ended without a verdict")

func (c Campaign) deal(ctx context.Context, seeds chan<- uint64) {
	for i := range c.Seeds {
		select {
		case seeds <- c.From + uint64(i):
		case <-ctx.Done():
			return
		}
	}
}

func (c Campaign) day(seed uint64) Day {
	steps := c.Steps
	if steps == 0 {
		steps = StepsOf(seed)
	}
	return Day{Seed: seed, Steps: steps, plant: c.plant}
}
