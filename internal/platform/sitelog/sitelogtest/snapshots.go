package sitelogtest

import (
	"bytes"
	"testing"

	"ramprow/internal/platform/sitelog"
)

// RunSnapshots checks what any sitelog.SnapshotStore must do.
func RunSnapshots(t *testing.T, open func(t *testing.T) sitelog.SnapshotStore) {
	store := open(t)
	here := sitelog.Subject{Service: "job", Site: "main-street"}
	there := sitelog.Subject{Service: "job", Site: "harbour"}
	want := func(s sitelog.Subject, schema uint32, data []byte) {
		t.Helper()
		got, err := store.Get(t.Context(), s, schema)
		if err != nil || !bytes.Equal(got, data) || (got == nil) != (data == nil) {
			t.Errorf("%v of schema %d gives %d bytes (%v), not %d", s, schema, len(got), err, len(data))
		}
	}
	put := func(s sitelog.Subject, schema uint32, data []byte) {
		t.Helper()
		if err := store.Put(t.Context(), s, schema, data); err != nil {
			t.Errorf("put: %v", err)
		}
	}
	remove := func(s sitelog.Subject, schema uint32) {
		t.Helper()
		if err := store.Delete(t.Context(), s, schema); err != nil {
			t.Errorf("delete: %v", err)
		}
	}
	want(here, 1, nil)
	remove(here, 1)
	large := bytes.Repeat([]byte("a state that is larger than any message. "), 100_000)
	put(here, 1, large)
	put(here, 2, []byte("of another build"))
	put(there, 1, []byte("elsewhere"))
	want(here, 1, large)
	put(here, 1, []byte("newer"))
	want(here, 1, []byte("newer"))
	remove(here, 1)
	want(here, 1, nil)
	remove(here, 1)
	want(here, 2, []byte("of another build"))
	want(there, 1, []byte("elsewhere"))
}
