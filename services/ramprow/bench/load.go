package bench

import (
	"context"
	"slices"
	"sync"
	"time"
)

// call is one call of a caller, counted from 0.
type call func(ctx context.Context, caller int) error

// task is what callers do. Each has a context of its own, as one in a process of
// its own would: with one for all, they would queue for its lock.
type task struct {
	as func(ctx context.Context, caller int) context.Context // nil: the given context serves all
	do call
}

// load lets callers call for a time, and waits for the last answers. The first
// error ends all of them.
func load(ctx context.Context, callers int, duration time.Duration, t task) (Sample, error) {
	ctx, fail := context.WithCancelCause(ctx)
	defer fail(nil)
	latencies := make([][]time.Duration, callers)
	before, began := spentSoFar(), time.Now()
	var wg sync.WaitGroup
	for caller := range callers {
		wg.Go(func() {
			ctx, cancel := context.WithCancel(ctx)
			defer cancel()
			if t.as != nil {
				ctx = t.as(ctx, caller)
			}
			for called := time.Now(); ctx.Err() == nil && called.Sub(began) < duration; called = time.Now() {
				if err := t.do(ctx, caller); err != nil {
					fail(err)
					return
				}
				latencies[caller] = append(latencies[caller], time.Since(called))
			}
		})
	}
	wg.Wait()
	s := Sample{Elapsed: time.Since(began), Spent: spentSoFar().since(before), Latencies: slices.Concat(latencies...)}
	s.Count = len(s.Latencies)
	slices.Sort(s.Latencies)
	return s, context.Cause(ctx)
}
