// Package personaltest checks what any personal.Store must do.
package personaltest

import (
	"context"
	"errors"
	"testing"

	"ramprow/internal/platform/personal"
)

// Run checks a store that is empty at first.
func Run(t *testing.T, open func(t *testing.T) personal.Store) {
	t.Run("life of a key", func(t *testing.T) { life(t, open(t)) })
	t.Run("destroyed before it was made", func(t *testing.T) { never(t, open(t)) })
	t.Run("watch", func(t *testing.T) { watch(t, open(t)) })
}

var one = personal.Name{Site: "main-street", ID: "j17"}

func life(t *testing.T, s personal.Store) {
	ctx := t.Context()
	if _, err := s.Get(ctx, one); !errors.Is(err, personal.ErrNone) {
		t.Fatalf("an empty store gives %v", err)
	}
	if err := s.Create(ctx, one, []byte("first")); err != nil {
		t.Fatal(err)
	}
	if err := s.Create(ctx, one, []byte("second")); !errors.Is(err, personal.ErrExists) {
		t.Errorf("a second key of the same name gives %v", err)
	}
	if got, err := s.Get(ctx, one); err != nil || string(got) != "first" {
		t.Errorf("it holds %q (%v)", got, err)
	}
	other := personal.Name{Site: "elsewhere", ID: "j17"}
	if _, err := s.Get(ctx, other); !errors.Is(err, personal.ErrNone) {
		t.Errorf("another site has the key: %v", err)
	}
	for range 2 { // once more does no harm
		if err := s.Destroy(ctx, one); err != nil {
			t.Fatal(err)
		}
		if _, err := s.Get(ctx, one); !errors.Is(err, personal.ErrDestroyed) {
			t.Errorf("after its end it gives %v", err)
		}
	}
	if err := s.Create(ctx, one, []byte("third")); !errors.Is(err, personal.ErrExists) {
		t.Errorf("a destroyed key can be made again: %v", err)
	}
}

// never is a key that was lost, or whose destroyer was killed half way.
func never(t *testing.T, s personal.Store) {
	if err := s.Destroy(t.Context(), one); err != nil {
		t.Fatal(err)
	}
	if _, err := s.Get(t.Context(), one); !errors.Is(err, personal.ErrDestroyed) {
		t.Errorf("it gives %v", err)
	}
}

func watch(t *testing.T, s personal.Store) {
	ctx, stop := context.WithCancel(t.Context())
	ready, heard, ended := make(chan struct{}), make(chan personal.Name, 1), make(chan error, 1)
	go func() {
		ended <- s.Watch(ctx, func() { close(ready) }, func(n personal.Name) { heard <- n })
	}()
	<-ready
	if err := s.Create(ctx, one, []byte("first")); err != nil {
		t.Fatal(err)
	}
	if err := s.Destroy(ctx, one); err != nil {
		t.Fatal(err)
	}
	if got := <-heard; got != one {
		t.Errorf("it heard of %v", got)
	}
	stop()
	if err := <-ended; !errors.Is(err, context.Canceled) {
		t.Errorf("the watch ended with %v", err)
	}
}
