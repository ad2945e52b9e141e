package readmodel

import (
	"context"
	"time"
)

const (
	firstPause = 20 * time.Millisecond
	// longestPause bounds how long a Redis that is back goes unnoticed.
	longestPause = time.Second
	// calmAfter is how long a run must last to count as a success.
	calmAfter = 2 * longestPause
)

// retry runs fn until ctx ends, pausing longer after each failure in a row.
func retry(ctx context.Context, report func(error), fn func() error) {
	pause := firstPause
	for {
		began := time.Now()
		err := fn()
		if ctx.Err() != nil {
			return
		}
		if err != nil {
			report(err)
		}
		if time.Since(began) > calmAfter {
			pause = firstPause
		}
		timer := time.NewTimer(pause)
		select {
		case <-timer.C:
		case <-ctx.Done():
			timer.Stop()
			return
		}
		pause = min(2*pause, longestPause)
	}
}
