package leasetest

import (
	"context"
	"errors"
	"testing"

	"ramprow/internal/platform/lease"
)

// Run checks what any lease.Store must do.
func Run(t *testing.T, open func(t *testing.T) lease.Store) {
	t.Run("guard", func(t *testing.T) { guard(t, open(t)) })
	t.Run("watch", func(t *testing.T) { watch(t, open(t)) })
}

func guard(t *testing.T, s lease.Store) {
	if e, err := s.Get(t.Context(), "job.p01"); err != nil || e.Revision != 0 {
		t.Fatalf("an empty store gives %+v (%v)", e, err)
	}
	first := put(t, s, "job.p01", "a", 0)
	for _, wrong := range []uint64{0, first + 1} {
		if _, err := s.Put(t.Context(), "job.p01", []byte("b"), wrong); !errors.Is(err, lease.ErrTaken) {
			t.Errorf("a write that expects revision %d of %d gives %v", wrong, first, err)
		}
	}
	if _, err := s.Put(t.Context(), "job.p02", []byte("b"), first); !errors.Is(err, lease.ErrTaken) {
		t.Errorf("a write that expects an entry where there is none gives %v", err)
	}
	second := put(t, s, "job.p01", "b", first)
	if second <= first {
		t.Errorf("revision %d after %d", second, first)
	}
	e, err := s.Get(t.Context(), "job.p01")
	if err != nil || string(e.Value) != "b" || e.Revision != second || e.Key != "job.p01" {
		t.Errorf("it holds %+v (%v)", e, err)
	}
}

// watch sees what is there, what comes, and nothing of other groups.
func watch(t *testing.T, s lease.Store) {
	ctx, stop := context.WithCancel(t.Context())
	defer stop()
	revision := put(t, s, "job.p01", "a", 0)
	put(t, s, "inventory.p01", "x", 0)
	seen := make(chan lease.Entry, 10)
	ended := make(chan error, 1)
	go func() {
		ended <- s.Watch(ctx, "job", func(e lease.Entry) error {
			seen <- e
			return nil
		})
	}()
	want := func(key, value string) {
		t.Helper()
		select {
		case e := <-seen:
			if e.Key != key || string(e.Value) != value || e.Revision == 0 {
				t.Errorf("seen %+v, not %s of %s", e, value, key)
			}
		case err := <-ended:
			t.Fatalf("the watch ended: %v", err)
		}
	}
	want("job.p01", "a")
	put(t, s, "job.p01", "b", revision)
	want("job.p01", "b")
	put(t, s, "inventory.p02", "x", 0)
	put(t, s, "job.p02", "c", 0)
	want("job.p02", "c")
	stop()
	if err := <-ended; !errors.Is(err, context.Canceled) {
		t.Errorf("the watch ended with %v", err)
	}
}

func put(t *testing.T, s lease.Store, key, value string, expected uint64) uint64 {
	t.Helper()
	revision, err := s.Put(t.Context(), key, []byte(value), expected)
	if err != nil || revision == 0 {
		t.Fatalf("put %s: revision %d, %v", key, revision, err)
	}
	return revision
}
