package readmodel

import (
	"context"
	"fmt"
	"maps"
	"sync/atomic"
	"testing"

	"ramprow/internal/platform/sitelog"
	"ramprow/internal/platform/sitelog/memory"
	"ramprow/internal/platform/statecode"
)

// keptNotes is the toy machine with snapshots.
func keptNotes() sitelog.Machine[*notes] {
	m := notesMachine()
	m.Schema = 1
	m.Snapshot = func(n *notes) func() ([]byte, error) {
		texts := maps.Clone(n.texts)
		return func() ([]byte, error) { return statecode.Encode(texts) }
	}
	m.Restore = func(_ string, data []byte) (*notes, error) {
		n := &notes{}
		return n, statecode.Decode(data, &n.texts)
	}
	return m
}

// takeSnapshot lets a writer read the log and leave its snapshot.
func takeSnapshot(t *testing.T, log sitelog.Log, store sitelog.SnapshotStore) {
	t.Helper()
	r, err := sitelog.Open(t.Context(), log, keptNotes(), sitelog.Options{Snapshots: store})
	must(t, err)
	_, err = r.View(t.Context(), "north", func(*notes) error { return nil })
	must(t, err)
	r.Close()
}

// followedLog remembers from where it was followed last.
type followedLog struct {
	sitelog.Log
	after atomic.Uint64
}

func (l *followedLog) Follow(ctx context.Context, s sitelog.Subject, after uint64, fn func(sitelog.Record) error) error {
	l.after.Store(after)
	return l.Log.Follow(ctx, s, after, fn)
}

// Wherever Redis stands when a projector starts from a snapshot, its rows are
// those of the log in the end.
func TestStartFromASnapshot(t *testing.T) {
	history := [][]string{{"a=one", "b=two"}, {"c=three"}, {"a"}, {"b=zwei", "d=four"}, {"c"}, {"e=five"}}
	const snapshotAt = 4 // commits
	for applied := range len(history) + 1 {
		t.Run(fmt.Sprintf("Redis holds %d of %d commits", applied, len(history)), func(t *testing.T) {
			url, log, store := startEmbedded(t), newLog(t), &memory.Snapshots{}
			a := newAuthor(t, log, "north")
			for i, lines := range history {
				a.put(lines...)
				if i+1 == applied {
					b := start(t, log, url, 1)
					b.settled("north", a.sequence)
					b.stop()
				}
				if i+1 == snapshotAt {
					takeSnapshot(t, log, store)
				}
			}
			watched := &followedLog{Log: log}
			b := startFrom(t, watched, url, store)
			checkContents(t, b, a)
			if got := watched.after.Load(); got != snapshotAt {
				t.Errorf("the log was followed from %d", got)
			}
			a.put("f=six", "e")
			checkContents(t, b, a)
			if text, _, err := b.get(b.views, "north", "b", a.sequence); err != nil || text != "b=zwei" {
				t.Errorf("b is %q (%v)", text, err)
			}
		})
	}
}

// A watcher that came before the snapshot was restored sees all rows of it.
func TestWatchersSeeARestoredState(t *testing.T) {
	log, store := newLog(t), &memory.Snapshots{}
	a := newAuthor(t, log, "north")
	a.put("a=one", "b=two")
	takeSnapshot(t, log, store)
	s := newSite(keptProjection(), log, "north")
	w := s.watch(WatchQuery{Model: "note"})
	restored, err := sitelog.Snapshots[*notes]{Store: store, Log: log, Machine: keptNotes()}.Restore(t.Context(), "north")
	must(t, err)
	s.begin("log", 1, position{}, restored)
	if keys := w.take(); len(keys) != 2 {
		t.Errorf("the watcher was offered %v", keys)
	}
}

func keptProjection() Projection[*notes] {
	p := notesProjection(1)
	p.Machine = keptNotes()
	return p
}

// startFrom runs a projector that may restore.
func startFrom(t *testing.T, log sitelog.Log, url string, store sitelog.SnapshotStore) *bench {
	t.Helper()
	return run(t, Config[*notes]{Projection: keptProjection(), Log: log, Snapshots: store}, url)
}
