package readmodel

import (
	"context"
	"sync"

	"google.golang.org/protobuf/proto"
)

// watchChunk is how many rows are rendered at once for a watcher, which bounds
// how long the fold waits for it.
const watchChunk = 100

// WatchQuery says which rows to watch.
type WatchQuery struct {
	Site  string
	Model string // empty: all models
	// Filter keeps to some keys; nil: all. It runs while the log is folded, so it
	// must be quick.
	Filter func(Key) bool
	// Present begins with all rows that follow from the state, then goes on with
	// changes, and misses nothing between the two.
	Present bool
	// Keys are rows to begin with even if they belong to something archived.
	Keys []Key
}

// Change is a row as it is now. Row nil: it is gone.
type Change struct {
	Key      Key
	Row      proto.Message
	Revision uint64
}

// Watch gives every changed row, straight from the fold and so also while Redis
// is away, until ctx ends or fn fails, and returns that error. A slow fn gets
// the latest row of each key, not every row between; but once a change has
// come, everything that changed before it has come too. A read with a change's
// revision as MinRevision sees at least that change.
func (v *Views[S]) Watch(ctx context.Context, q WatchQuery, fn func(Change) error) error {
	s, err := v.projector.await(ctx, q.Site)
	if err != nil {
		return err
	}
	if err := s.await(ctx, func() bool { return s.folded(0) }); err != nil {
		return err
	}
	w := s.watch(q)
	defer s.unwatch(w)
	for {
		select {
		case <-w.ready:
		case <-ctx.Done():
			return ctx.Err()
		}
		for keys := w.take(); len(keys) > 0; keys = w.take() {
			changes, err := s.changes(ctx, keys)
			if err != nil {
				return err
			}
			for _, c := range changes {
				if err := fn(c); err != nil {
					return err
				}
			}
		}
	}
}

// watcher holds the keys that changed since its owner last looked: bounded by
// the number of rows, however slow the owner is.
type watcher struct {
	model  string
	filter func(Key) bool
	ready  chan struct{} // holds one token while pending is not empty

	mu      sync.Mutex
	pending map[Key]struct{}
	order   []Key // pending, in the order in which they were offered
}

// offer notes a changed key if it is watched. It never blocks.
func (w *watcher) offer(key Key) {
	if w.model != "" && w.model != key.Model || w.filter != nil && !w.filter(key) {
		return
	}
	w.mu.Lock()
	if _, isPending := w.pending[key]; !isPending {
		w.pending[key] = struct{}{}
		w.order = append(w.order, key)
	}
	w.mu.Unlock()
	select {
	case w.ready <- struct{}{}:
	default:
	}
}

func (w *watcher) take() []Key {
	w.mu.Lock()
	defer w.mu.Unlock()
	n := min(watchChunk, len(w.order))
	keys := w.order[:n:n]
	w.order = w.order[n:]
	for _, key := range keys {
		delete(w.pending, key)
	}
	return keys
}

func (s *site[S]) watch(q WatchQuery) *watcher {
	w := &watcher{
		model: q.Model, filter: q.Filter,
		ready: make(chan struct{}, 1), pending: map[Key]struct{}{},
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.watchers[w] = struct{}{}
	if q.Present {
		for _, key := range s.projection.allKeys(s.state) {
			w.offer(key)
		}
	}
	for _, key := range q.Keys {
		w.offer(key)
	}
	return w
}

func (s *site[S]) unwatch(w *watcher) {
	s.mu.Lock()
	defer s.mu.Unlock()
	delete(s.watchers, w)
}

// changes renders rows as they are now.
func (s *site[S]) changes(ctx context.Context, keys []Key) ([]Change, error) {
	changes := make([]Change, 0, len(keys))
	var archived []Key
	show := func(state S, key Key) {
		c := Change{Key: key, Revision: s.chain.Sequence}
		if row, ok := s.projection.Row(state, key); ok {
			c.Row = proto.Clone(row.Value)
		}
		changes = append(changes, c)
	}
	s.mu.RLock()
	for _, key := range keys {
		if s.projection.archivedIn(s.state, key) != nil {
			archived = append(archived, key)
			continue
		}
		show(s.state, key)
	}
	s.mu.RUnlock()
	for _, key := range archived {
		err := s.with(ctx, s.projection.Archive.Of(key), func(state S) error { show(state, key); return nil })
		if err != nil {
			return nil, unavailable(err)
		}
	}
	return changes, nil
}

// offerAll makes every watcher look at every row again. mu is held.
func (s *site[S]) offerAll() {
	for w := range s.watchers {
		for _, key := range s.projection.allKeys(s.state) {
			w.offer(key)
		}
	}
}
