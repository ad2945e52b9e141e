package readmodel

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
)

const (
	fillChunk = 500  // rows a step: about 1 ms of Redis's time
	scanChunk = 1000 // keys looked at in one SCAN
)

// errLost says that the claim is gone: Redis was emptied, or was silent for
// longer than claimLife and somebody else took over.
var errLost = errors.New("the claim on the rows in Redis was lost")

// filling says how to write all rows anew.
type filling struct {
	// force writes them even if those in Redis are as new as the fold.
	force bool
	// progress is told how many rows of how many are written; may be nil.
	progress func(done, total int)
}

// fill drops all rows of the site and writes them anew from the fold. While it
// does, the position holds a claim, which tells readers to look elsewhere and
// other projectors to wait; every chunk is written only while the claim stands.
func (s *site[S]) fill(ctx context.Context, st *Store, f filling) error {
	claim := position{Claim: rand.Text()}
	claimed, err := s.claim(ctx, st, claim, f.force)
	if err != nil || !claimed {
		return err
	}
	holder := holder{store: st, keys: s.keys, claim: claim}
	if err := holder.drop(ctx); err != nil {
		return err
	}
	keys := s.beginFill()
	defer s.endFill()
	for done := 0; done < len(keys); {
		chunk := keys[done:min(done+fillChunk, len(keys))]
		rows, err := s.renderAll(chunk)
		if err != nil {
			return err
		}
		if err := holder.put(ctx, rows); err != nil {
			return err
		}
		done += len(chunk)
		if f.progress != nil {
			f.progress(done, len(keys))
		}
	}
	return s.finishFill(ctx, holder)
}

// claim takes the position, unless Redis turns out to be as new as the fold.
func (s *site[S]) claim(ctx context.Context, st *Store, claim position, force bool) (bool, error) {
	s.mu.RLock()
	log, sequence, verified := s.log, s.chain.Sequence, s.verified
	s.mu.RUnlock()
	var ahead uint64
	err := st.apply(ctx, s.keys, update{guard: func(found position) (position, error) {
		ahead = 0
		if found.Claim != "" {
			return position{}, errClaimed
		}
		if !force && verified && found.vouches(log) && found.Sequence > sequence {
			ahead = found.Sequence
			return position{}, errUpToDate
		}
		return claim, nil
	}})
	if err == nil && ahead > 0 {
		s.reached(ahead)
	}
	return ahead == 0, err
}

// beginFill gives all rows. What is touched from now on is written at the end.
func (s *site[S]) beginFill() []Key {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.filling = true
	clear(s.touched)
	s.since, s.applied = s.chain.Sequence, s.chain.Sequence
	return s.projection.allKeys(s.state)
}

func (s *site[S]) endFill() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.filling = false
	s.trim()
}

func (s *site[S]) renderAll(keys []Key) ([]rendered, error) {
	s.mu.RLock()
	defer s.mu.RUnlock()
	rows := make([]rendered, 0, len(keys))
	for _, key := range keys {
		row, err := s.projection.render(s.state, key)
		if err != nil {
			return nil, err
		}
		rows = append(rows, row)
	}
	return rows, nil
}

// finishFill writes what was touched meanwhile together with the position.
func (s *site[S]) finishFill(ctx context.Context, h holder) error {
	s.mu.Lock()
	s.verified = true
	s.mu.Unlock()
	b, err := s.pending()
	if err != nil {
		return err
	}
	for len(b.rows) > fillChunk {
		// Readers must wait for the last step alone, so it has to be small; earlier
		// rows may be newer than it, since the last step covers what changed again.
		if err := h.put(ctx, b.rows[:fillChunk]); err != nil {
			return err
		}
		b.rows = b.rows[fillChunk:]
	}
	if err := h.apply(ctx, update{rows: b.rows}, b.target); err != nil {
		return err
	}
	s.reached(b.target.Sequence)
	return nil
}

// holder writes under a claim.
type holder struct {
	store *Store
	keys  keyspace
	claim position
}

func (h holder) apply(ctx context.Context, u update, next position) error {
	u.guard = func(found position) (position, error) {
		if found != h.claim {
			return position{}, errLost
		}
		return next, nil
	}
	return h.store.apply(ctx, h.keys, u)
}

func (h holder) put(ctx context.Context, rows []rendered) error {
	return h.apply(ctx, update{rows: rows}, h.claim)
}

// drop removes every key of the keyspace but the position.
func (h holder) drop(ctx context.Context) error {
	var cursor uint64
	for {
		keys, next, err := h.store.client.Scan(ctx, cursor, h.keys.pattern(), scanChunk).Result()
		if err != nil {
			return fmt.Errorf("look for old rows: %w", err)
		}
		if err := h.remove(ctx, keys); err != nil {
			return err
		}
		if cursor = next; cursor == 0 {
			return nil
		}
	}
}

func (h holder) remove(ctx context.Context, keys []string) error {
	var rows []string
	for _, key := range keys {
		if key != h.keys.position() {
			rows = append(rows, key)
		}
	}
	if len(rows) == 0 {
		return nil
	}
	return h.apply(ctx, update{remove: rows}, h.claim)
}
