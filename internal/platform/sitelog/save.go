package sitelog

import (
	"context"
	"maps"
	"sync"
	"sync/atomic"
)

type (
	// saver counts what the next snapshot would save a start from reading, and
	// runs at most one at a time.
	saver struct {
		commits int // on disk since the last capture
		bytes   int
		size    atomic.Int64 // of the last snapshot
		busy    atomic.Bool
		running sync.WaitGroup
	}

	// capture is what a snapshot needs of a state before it changes again.
	capture struct {
		encode func() ([]byte, error)
		image  *image
	}
)

// saveShare bounds what snapshots write: at most so many times the log's bytes.
const saveShare = 4

func (s *saver) began(size int) {
	s.commits, s.bytes = 0, 0
	s.size.Store(int64(size))
}

func (s *saver) count(payload []byte) {
	s.commits++
	s.bytes += len(payload)
}

func (s *saver) due(o Options) bool {
	return o.Snapshots != nil && !s.busy.Load() &&
		(s.commits >= o.SnapshotCommits || s.bytes >= o.SnapshotBytes) &&
		int64(s.bytes)*saveShare >= s.size.Load()
}

// wait returns when no snapshot is under way.
func (s *saver) wait() { s.running.Wait() }

func (w *writer[S]) snapshots() Snapshots[S] {
	return Snapshots[S]{Store: w.o.Snapshots, Log: w.log, Machine: w.machine, Logger: w.o.Logger}
}

// takeCapture keeps the state as it is. Only right while the open batch is
// empty: the state is then that of the flight, or of the disk.
func (w *writer[S]) takeCapture() *capture {
	if w.machine.Snapshot == nil {
		return nil
	}
	c := &capture{image: &image{
		Service: w.subject.Service, Site: w.subject.Site, Schema: w.machine.Schema,
		Positions: maps.Clone(w.ledger.positions), Parked: w.ledger.listParked(),
	}}
	if err := guarded(func() error { c.encode = w.machine.Snapshot(w.state); return nil }); err != nil {
		w.snapshotFailed(err)
		return nil
	}
	return c
}

// saveInBackground stores a capture whose commit is on disk; nil: none is due.
func (w *writer[S]) saveInBackground(c *capture) {
	if c == nil {
		return
	}
	store := w.place(c)
	w.saver.busy.Store(true)
	w.saver.running.Go(func() {
		defer w.saver.busy.Store(false)
		store()
	})
}

// saveLast stores the state of a writer that has ended, so that the next one
// has nothing to read.
func (w *writer[S]) saveLast() {
	if w.o.Snapshots == nil || w.saver.commits == 0 || !w.active {
		return
	}
	if c := w.takeCapture(); c != nil {
		w.place(c)()
	}
}

// place gives a capture its place in the log, which is where the chain ends now,
// and the function that stores it.
func (w *writer[S]) place(c *capture) (store func()) {
	w.saver.commits, w.saver.bytes = 0, 0
	c.image.Log = w.chain.Log
	c.image.Sequence, c.image.Number, c.image.Hash = w.chain.Sequence, w.chain.Number, w.chain.Hash
	c.image.CommittedAt = w.committedAt
	order := w.ledger.requests.order
	return func() {
		c.image.Requests = packRequests(order)
		if err := w.store(w.ctx, c); err != nil {
			w.snapshotFailed(err)
		}
	}
}

func (w *writer[S]) store(ctx context.Context, c *capture) error {
	err := guarded(func() (err error) {
		c.image.State, err = c.encode()
		return err
	})
	if err != nil {
		return err
	}
	packed, err := c.image.pack()
	if err != nil {
		return err
	}
	w.saver.size.Store(int64(len(packed)))
	return w.o.Snapshots.Put(ctx, w.subject, w.machine.Schema, packed)
}

// snapshotFailed says so and no more: the next start reads more of the log.
func (w *writer[S]) snapshotFailed(err error) {
	w.o.Logger.Warn("a snapshot failed; the next is tried later",
		"service", w.subject.Service, "site", w.subject.Site, "error", err)
}
