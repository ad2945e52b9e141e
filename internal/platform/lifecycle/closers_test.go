package lifecycle_test

import (
	"context"
	"errors"
	"io"
	"slices"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"ramprow/internal/platform/lifecycle"
)

// noting gives a closer that writes its name down.
func noting(order *[]string, name string, err error) lifecycle.Closer {
	return lifecycle.Closer{Name: name, Close: func(context.Context) error {
		*order = append(*order, name)
		return err
	}}
}

func TestClosersRunInReverseAndAllOfThem(t *testing.T) {
	var c lifecycle.Closers
	var order []string
	c.Add(noting(&order, "broker", io.ErrClosedPipe))
	c.Add(noting(&order, "log", nil))
	c.Add(noting(&order, "server", io.ErrNoProgress))
	err := c.Close(context.Background())
	if want := []string{"server", "log", "broker"}; !slices.Equal(order, want) {
		t.Errorf("closed %v, want %v", order, want)
	}
	for _, want := range []error{io.ErrClosedPipe, io.ErrNoProgress} {
		if !errors.Is(err, want) {
			t.Errorf("%v lacks %v", err, want)
		}
	}
	if !strings.Contains(err.Error(), "close broker: ") || !strings.Contains(err.Error(), "close server: ") {
		t.Errorf("%v does not name who failed", err)
	}
	if err := c.Close(context.Background()); err != nil || len(order) != 3 {
		t.Errorf("closed again: %v, %v", err, order)
	}
}

func TestAHangingPartIsLeftBehind(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var c lifecycle.Closers
		var order []string
		release := make(chan struct{})
		c.Add(noting(&order, "broker", nil))
		c.Add(lifecycle.Closer{Name: "deaf", Timeout: time.Second, Close: func(context.Context) error {
			<-release
			return nil
		}})
		c.Add(lifecycle.Closer{Name: "slow", Close: func(ctx context.Context) error {
			<-ctx.Done()
			return ctx.Err()
		}})
		began := time.Now()
		err := c.Close(context.Background())
		if !errors.Is(err, context.DeadlineExceeded) || !strings.Contains(err.Error(), "close deaf") || !strings.Contains(err.Error(), "close slow") {
			t.Errorf("got %v", err)
		}
		if took := time.Since(began); took != 11*time.Second { // 10 s by default, and 1 s
			t.Errorf("took %v", took)
		}
		if len(order) != 1 {
			t.Error("the broker was not closed")
		}
		close(release)
	})
}
