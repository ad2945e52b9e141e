package readmodel

import (
	"testing"
	"time"
)

func TestDrawer(t *testing.T) {
	overServers(t, func(t *testing.T, url string) {
		store, err := Connect(Options{URL: url})
		must(t, err)
		t.Cleanup(func() { _ = store.Close() })
		one, other := store.Drawer("one"), store.Drawer("other")

		must(t, one.Keep(t.Context(), "a", []byte("first"), time.Hour))
		must(t, one.Keep(t.Context(), "a", []byte("second"), time.Hour))
		got, err := one.Find(t.Context(), "a")
		must(t, err)
		if string(got) != "second" {
			t.Errorf("found %q", got)
		}
		if got, err := other.Find(t.Context(), "a"); err != nil || got != nil {
			t.Errorf("another drawer holds %q, %v", got, err)
		}
		must(t, one.Drop(t.Context(), "a"))
		if got, err := one.Find(t.Context(), "a"); err != nil || got != nil {
			t.Errorf("dropped, and found %q, %v", got, err)
		}
		for want := int64(1); want <= 3; want++ {
			if got, err := one.Count(t.Context(), "tries", time.Hour); err != nil || got != want {
				t.Errorf("counted %d, %v; want %d", got, err, want)
			}
		}
	})
}
