package sitelog_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math/rand/v2"
	"reflect"
	"strings"
	"sync"
	"testing"
	"time"

	"ramprow/internal/platform/sitelog"
	"ramprow/internal/platform/sitelog/jetstream"
	"ramprow/internal/platform/sitelog/memory"
	"ramprow/internal/platform/statecode"
	logv1 "ramprow/proto/ramprow/log/v1"
)

// kept is what a snapshot holds of a board.
type kept struct {
	Count map[string]int
	Order []string
	Times []time.Time
	Alarm time.Time
}

// keptMachine is a board that can be restored.
func keptMachine(service string, follows ...string) sitelog.Machine[*board] {
	m := boardMachine(service, follows...)
	m.Schema = statecode.Schema[kept](1)
	m.Snapshot = func(b *board) func() ([]byte, error) {
		k := kept{Count: map[string]int{}, Order: b.order[:len(b.order):len(b.order)], Times: b.times[:len(b.times):len(b.times)], Alarm: b.alarm}
		for word, n := range b.count {
			k.Count[word] = n
		}
		return func() ([]byte, error) { return statecode.Encode(k) }
	}
	m.Restore = func(_ string, data []byte) (*board, error) {
		var k kept
		err := statecode.Decode(data, &k)
		return &board{count: k.Count, order: k.Order, times: k.Times, alarm: k.Alarm}, err
	}
	return m
}

func restoring(log sitelog.Log, store sitelog.SnapshotStore) sitelog.Snapshots[*board] {
	return sitelog.Snapshots[*board]{Store: store, Log: log, Machine: keptMachine("job"), Logger: slog.New(slog.DiscardHandler)}
}

// readLog notes from where the log is read.
type readLog struct {
	sitelog.Log
	mu    sync.Mutex
	after []uint64
}

func (l *readLog) Read(ctx context.Context, s sitelog.Subject, after uint64, fn func(sitelog.Record) error) error {
	l.mu.Lock()
	l.after = append(l.after, after)
	l.mu.Unlock()
	return l.Log.Read(ctx, s, after, fn)
}

func (l *readLog) readFromTheStart() bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, after := range l.after {
		if after == 0 {
			return true
		}
	}
	return false
}

// storeFor gives the snapshot store that belongs to a log.
func storeFor(log sitelog.Log) sitelog.SnapshotStore {
	if l, ok := log.(*jetstream.Log); ok {
		return l.Snapshots()
	}
	return &memory.Snapshots{}
}

// A site that was closed starts from its snapshot with state, answered requests,
// positions and parked events, and without reading what lies before.
func TestStartFromASnapshot(t *testing.T) {
	eachLog(t, func(t *testing.T, log sitelog.Log) {
		store := storeFor(log)
		o := sitelog.Options{Snapshots: store}
		job := open(t, log, boardMachine("job"), sitelog.Options{})
		audit := open(t, log, keptMachine("audit", "job"), o)
		for _, word := range []string{"anvil", "bad-bolt", "clamp"} {
			mustDo(t, job, add("req-"+word, word))
		}
		until(t, func() bool { return snapshot(t, audit).count["job:clamp"] == 1 })
		first := mustDo(t, audit, add("req-own", "own"))
		want := snapshot(t, audit)
		audit.Close()

		watched := &readLog{Log: log}
		again := open(t, watched, keptMachine("audit", "job"), o)
		if got := snapshot(t, again); !reflect.DeepEqual(got, want) {
			t.Errorf("the state is %+v, and was %+v", got, want)
		}
		if watched.readFromTheStart() {
			t.Error("the log was read from the start")
		}
		parked, err := again.Parked(t.Context(), site)
		if err != nil || len(parked) != 1 || parked[0].Error != errNotYet.Error() || parked[0].Event == nil {
			t.Errorf("parked are %+v (%v)", parked, err)
		}
		if out := mustDo(t, again, add("req-own", "own")); !out.Repeated || out.Revision != first.Revision {
			t.Errorf("the request was answered anew: %+v", out)
		}
		mustDo(t, job, add("req-drill", "drill"))
		until(t, func() bool { return snapshot(t, again).count["job:drill"] == 1 })
		got, want2 := snapshot(t, again), foldedAt(t, log, "audit", 0)
		if !reflect.DeepEqual(got, want2) {
			t.Errorf("the state is %+v, and the log says %+v", got, want2)
		}
	})
}

func until(t *testing.T, done func() bool) {
	t.Helper()
	for !done() {
		if t.Context().Err() != nil {
			t.Fatal("waited in vain")
		}
	}
}

// foldedAt is folded up to a sequence; 0: to the end.
func foldedAt(t testing.TB, log sitelog.Log, service string, upTo uint64) board {
	b := board{count: map[string]int{}}
	err := log.Read(context.Background(), sitelog.Subject{Service: service, Site: site}, 0, func(r sitelog.Record) error {
		events, err := sitelog.EventsOf(r)
		if upTo == 0 || r.Sequence <= upTo {
			for _, e := range events {
				evolveBoard(&b, e)
			}
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// failing is a store whose Get fails.
type failing struct{ memory.Snapshots }

func (*failing) Get(context.Context, sitelog.Subject, uint32) ([]byte, error) {
	return nil, errors.New("the bucket is away")
}

// Whatever is wrong with a snapshot, the state is that of the log.
func TestASnapshotInDoubtIsThrownAway(t *testing.T) {
	schema := keptMachine("job").Schema
	for _, c := range []struct {
		name  string
		spoil func(t *testing.T, log *memory.Log, store *memory.Snapshots, m *sitelog.Machine[*board])
	}{
		{"a changed byte", func(t *testing.T, _ *memory.Log, store *memory.Snapshots, _ *sitelog.Machine[*board]) {
			data := get(t, store, schema)
			data[len(data)/2] ^= 1
			put(t, store, schema, data)
		}},
		{"cut off", func(t *testing.T, _ *memory.Log, store *memory.Snapshots, _ *sitelog.Machine[*board]) {
			data := get(t, store, schema)
			put(t, store, schema, data[:len(data)-1])
		}},
		{"nothing in it", func(t *testing.T, _ *memory.Log, store *memory.Snapshots, _ *sitelog.Machine[*board]) {
			put(t, store, schema, []byte{})
		}},
		{"under a schema that is not its own", func(t *testing.T, _ *memory.Log, store *memory.Snapshots, m *sitelog.Machine[*board]) {
			put(t, store, schema+1, get(t, store, schema))
			m.Schema = schema + 1
		}},
		{"the state cannot be restored", func(_ *testing.T, _ *memory.Log, _ *memory.Snapshots, m *sitelog.Machine[*board]) {
			m.Restore = func(string, []byte) (*board, error) { return nil, errors.New("of no use") }
		}},
		{"restoring panics", func(_ *testing.T, _ *memory.Log, _ *memory.Snapshots, m *sitelog.Machine[*board]) {
			m.Restore = func(string, []byte) (*board, error) { panic("of no use") }
		}},
		{"of another log", func(t *testing.T, _ *memory.Log, store *memory.Snapshots, _ *sitelog.Machine[*board]) {
			put(t, store, schema, otherSnapshot(t))
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			log, store, m := memory.New(), &memory.Snapshots{}, keptMachine("job")
			first := open(t, log, m, sitelog.Options{Snapshots: store})
			for _, word := range []string{"anvil", "bellows", "clamp"} {
				mustDo(t, first, add("req-"+word, word))
			}
			first.Close()
			c.spoil(t, log, store, &m)
			watched := &readLog{Log: log}
			var notes bytes.Buffer
			second := open(t, watched, m, sitelog.Options{Snapshots: store, Logger: slog.New(slog.NewTextHandler(&notes, nil))})
			got := snapshot(t, second)
			if want := foldedAt(t, log, "job", 0); !reflect.DeepEqual(got, want) || len(got.order) != 3 {
				t.Errorf("the state is %+v, and the log says %+v", got, want)
			}
			if !watched.readFromTheStart() || !strings.Contains(notes.String(), "thrown away") {
				t.Errorf("the snapshot was used; the notes say %q", notes.String())
			}
			if data := get(t, store, m.Schema); data != nil {
				t.Error("the snapshot is still there")
			}
		})
	}
	t.Run("it cannot be read", func(t *testing.T) {
		log := memory.New()
		mustDo(t, open(t, log, keptMachine("job"), sitelog.Options{}), add("req-0001", "anvil"))
		r := open(t, log, keptMachine("job"), sitelog.Options{Snapshots: &failing{}})
		if got := snapshot(t, r); got.count["anvil"] != 1 {
			t.Errorf("the state is %+v", got)
		}
	})
}

// otherSnapshot is of a log of the same name that was longer and is gone.
func otherSnapshot(t *testing.T) []byte {
	store := &memory.Snapshots{}
	r := open(t, memory.New(), keptMachine("job"), sitelog.Options{Snapshots: store})
	for _, word := range []string{"one", "two", "three", "four"} {
		mustDo(t, r, add("req-"+word, word))
	}
	r.Close()
	return get(t, store, keptMachine("job").Schema)
}

// A log that has lost or changed what was on disk when the snapshot was taken
// looks whole by itself. To build on it would make the loss final.
func TestASnapshotRemembersWhatWasOnDisk(t *testing.T) {
	for _, c := range []struct {
		name, reason string
		damage       func(t *testing.T, log *memory.Log)
	}{
		{"the end is gone", "ends before it", func(_ *testing.T, log *memory.Log) { log.Remove(jobSubject, 3) }},
		{"the last commit is another", "another commit", func(t *testing.T, log *memory.Log) {
			log.Tamper(jobSubject, 3, func(r *sitelog.Record) {
				alter(t, r, func(c *logv1.Commit) { c.Entries[0].Actor.Person = "eve" })
			})
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			log, o := memory.New(), sitelog.Options{Snapshots: &memory.Snapshots{}}
			first := open(t, log, keptMachine("job"), o)
			for _, word := range []string{"anvil", "bellows", "clamp"} {
				mustDo(t, first, add("req-"+word, word))
			}
			first.Close()
			c.damage(t, log)
			_, err := open(t, log, keptMachine("job"), o).Do(t.Context(), site, add("req-drill", "drill"))
			expectDamage(t, err, 3, c.reason)
		})
	}
}

func get(t *testing.T, store sitelog.SnapshotStore, schema uint32) []byte {
	t.Helper()
	data, err := store.Get(t.Context(), jobSubject, schema)
	if err != nil {
		t.Fatal(err)
	}
	return data
}

func put(t *testing.T, store sitelog.SnapshotStore, schema uint32, data []byte) {
	t.Helper()
	if err := store.Put(t.Context(), jobSubject, schema, data); err != nil {
		t.Fatal(err)
	}
}

// judged checks every snapshot on its way into the store.
type judged struct {
	memory.Snapshots
	t   *testing.T
	log sitelog.Log
	mu  sync.Mutex
	n   int
}

func (j *judged) Put(ctx context.Context, s sitelog.Subject, schema uint32, data []byte) error {
	aside := &memory.Snapshots{}
	if err := aside.Put(ctx, s, schema, data); err != nil {
		return err
	}
	// A crash ends the writer's context while the snapshot is looked at.
	r, err := restoring(j.log, aside).Restore(context.WithoutCancel(ctx), s.Site)
	if err != nil || r == nil {
		j.t.Errorf("a stored snapshot is of no use (%v)", err)
		return nil
	}
	if want := foldedAt(j.t, j.log, s.Service, r.Chain.Sequence); !reflect.DeepEqual(*r.State, want) {
		j.t.Errorf("at sequence %d the snapshot says %+v, and the log %+v", r.Chain.Sequence, *r.State, want)
	}
	j.mu.Lock()
	j.n++
	j.mu.Unlock()
	return j.Snapshots.Put(ctx, s, schema, data)
}

// Two writers that fight for a site, lost answers and crashes: no snapshot ever
// holds anything that is not on disk, and nobody who starts from one is wrong.
func TestSnapshotsHoldWhatIsOnDisk(t *testing.T) {
	log := memory.New()
	store := &judged{t: t, log: log}
	random := rand.New(rand.NewPCG(7, 7))
	var mu sync.Mutex
	log.SetHook(func(_ context.Context, op memory.Operation, _ sitelog.Subject) memory.Effect {
		mu.Lock()
		defer mu.Unlock()
		if op == memory.Append && random.IntN(5) == 0 {
			return memory.LostAnswer()
		}
		return memory.Effect{}
	})
	const rounds, callers, each = 6, 8, 10
	for round := range rounds {
		o := sitelog.Options{Snapshots: store, SnapshotCommits: 3}
		writers := []*sitelog.Runner[*board]{open(t, log, keptMachine("job"), o), open(t, log, keptMachine("job"), o)}
		var wg sync.WaitGroup
		for c := range callers {
			wg.Go(func() {
				for i := range each {
					id := fmt.Sprintf("w-%d-%d-%d", round, c, i)
					_, err := writers[c%2].Do(t.Context(), site, add(id, id))
					for err != nil { // contended: the same request again
						_, err = writers[(c+1)%2].Do(t.Context(), site, add(id, id))
					}
				}
			})
		}
		wg.Wait()
		writers[0].Abandon()
		writers[1].Close()
	}
	b, _ := folded(t, log, "job")
	if len(b.order) != rounds*callers*each {
		t.Errorf("%d words, not %d", len(b.order), rounds*callers*each)
	}
	if store.n < rounds {
		t.Errorf("only %d snapshots were looked at", store.n)
	}
}
