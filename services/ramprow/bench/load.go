package bench

import (
	"context"
	"slices"
	"sync"
	"time"
)

// call is one call of a caller, counted from 0.
type call func(ctx context.Context, caller int) error

// load lets callers call for a time, and waits for the last answers. The first
// error ends all of them.
func load(ctx context.Context, callers int, duration time.Duration, do call) (Sample, error) {
	ctx, fail := context.WithCancelCause(ctx)
	defer fail(nil)
	latencies := make([][]time.Duration, callers)
	began := time.Now()
	var wg sync.WaitGroup
	for caller := range callers {
		wg.Go(func() {
			for called := time.Now(); ctx.Err() == nil && called.Sub(began) < duration; called = time.Now() {
				if err := do(ctx, caller); err != nil {
					fail(err)
					return
				}
				latencies[caller] = append(latencies[caller], time.Since(called))
			}
		})
	}
	wg.Wait()
	s := Sample{Elapsed: time.Since(began), Latencies: slices.Concat(latencies...)}
	s.Count = len(s.Latencies)
	slices.Sort(s.Latencies)
	return s, context.Cause(ctx)
}
