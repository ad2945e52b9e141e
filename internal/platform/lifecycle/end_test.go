package lifecycle

import (
	"context"
	"log/slog"
	"strings"
	"testing"
	"testing/synctest"
	"time"
)

// Run itself cannot be in a bubble of false time, because signals reach it from
// outside; its end can.
func TestTheEndIsBounded(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		release, began := make(chan struct{}), time.Now()
		var notReadyAt time.Duration
		p := Process{
			Log: slog.New(slog.DiscardHandler), DrainDelay: 3 * time.Second, Timeout: 7 * time.Second,
			Ready:   func(bool) { notReadyAt = time.Since(began) },
			Closers: &Closers{},
		}
		var drainedAt time.Duration
		p.Closers.Add(Closer{Name: "server", Close: func(context.Context) error {
			drainedAt = time.Since(began)
			return nil
		}})
		ended := start(context.Background(), []Task{{Name: "deaf", Run: func(context.Context) error {
			<-release
			return nil
		}}})
		err := p.end(context.Background(), func() {}, ended, 1)
		if err == nil || !strings.Contains(err.Error(), "did not end in time") {
			t.Errorf("got %v", err)
		}
		if took := time.Since(began); notReadyAt != 0 || drainedAt != 3*time.Second || took != 10*time.Second {
			t.Errorf("not ready at %v, drained at %v, over at %v", notReadyAt, drainedAt, took)
		}
		close(release)
	})
}
