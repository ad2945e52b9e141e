package readmodel

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"math"
	"time"
)

const (
	fillChunk = stepRows / 2
	scanChunk = 2000 // keys looked at in one SCAN
)

// errLost says that the claim is gone: Redis was emptied, or was silent for
// longer than claimLife and somebody else took over.
var errLost = errors.New("the claim on the rows in Redis was lost")

// filling says how to write many rows.
type filling struct {
	// touchedOnly keeps the rows that are there, and writes those that changed
	// after the position; errHoles if that does not suffice.
	touchedOnly bool
	after       uint64 // the sequence found there; claim tells
	// force writes all rows even if those in Redis are newer than the fold.
	force bool
	// progress is told how many rows of how many are written; may be nil.
	progress func(done, total int)
}

// fill writes the rows of the site from the fold, in chunks. While it does, the
// position holds a claim, which tells readers to look elsewhere and other
// projectors to wait; every chunk is written only while the claim stands.
func (s *site[S]) fill(ctx context.Context, st *Store, f filling) error {
	h := holder{store: st, keys: s.keys, claim: position{Claim: rand.Text()}}
	var err error
	f.after, err = s.claim(ctx, h, f)
	if errors.Is(err, errUpToDate) {
		s.reached(f.after)
		return nil
	}
	if err != nil {
		return err
	}
	if err := s.fillUnder(ctx, h, f); err != nil {
		h.release(ctx)
		return fmt.Errorf("write many rows: %w", err)
	}
	return nil
}

func (s *site[S]) fillUnder(ctx context.Context, h holder, f filling) error {
	if !f.touchedOnly {
		if err := h.drop(ctx); err != nil {
			return err
		}
	}
	keys, archived := s.beginFill(f)
	defer s.endFill()
	done, all := 0, len(keys)+len(archived)
	told := func(n int) {
		if done += n; f.progress != nil {
			f.progress(done, all)
		}
	}
	if err := s.fillArchived(ctx, h, archived, func() { told(1) }); err != nil {
		return err
	}
	for len(keys) > 0 {
		chunk := keys[:min(fillChunk, len(keys))]
		keys = keys[len(chunk):]
		rows, err := s.renderAll(chunk)
		if err != nil {
			return err
		}
		if err := h.put(ctx, rows); err != nil {
			return err
		}
		told(len(chunk))
	}
	return s.finishFill(ctx, h)
}

// claim takes the position and gives the sequence that was there. errUpToDate:
// that is newer than the fold, and nothing was taken.
func (s *site[S]) claim(ctx context.Context, h holder, f filling) (from uint64, err error) {
	s.mu.RLock()
	log, sequence, since, verified := s.log, s.chain.Sequence, s.since, s.verified
	s.mu.RUnlock()
	newer := false
	err = h.store.apply(ctx, s.keys, update{guard: func(found position) (position, error) {
		from = found.Sequence
		usable := verified && found.vouches(log)
		newer = usable && found.Sequence > sequence && !f.force
		switch {
		case found.Claim != "":
			return position{}, errClaimed
		case newer:
			return position{}, errUpToDate
		case f.touchedOnly && (!usable || found.Sequence < since):
			return position{}, errHoles
		}
		return h.claim, nil
	}})
	if err == nil && newer {
		err = errUpToDate
	}
	return from, err
}

// beginFill gives the rows to write, and the archived things whose rows follow
// from the log: all, or those touched after f.after. What is touched from now on follows at the end. Should the fill fail, since makes the next one write all rows.
func (s *site[S]) beginFill(f filling) (keys []Key, archived []string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if f.touchedOnly {
		keys = s.touchedAfter(f.after)
	} else {
		keys = s.projection.allKeys(s.state)
		if s.projection.Archive != nil {
			archived = s.projection.Archive.All(s.state)
		}
	}
	s.filling = true
	s.verified = true // What Redis held of another log is gone.
	s.forget()
	s.since, s.applied = s.chain.Sequence, s.chain.Sequence
	return keys, archived
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
		if s.projection.archivedIn(s.state, key) != nil {
			return nil, errHoles
		}
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
	b, err := s.pending(math.MaxInt)
	if err != nil {
		return err
	}
	// All of these rows are of one moment, so all but the last chunk may go
	// ahead of the position.
	for len(b.rows) > fillChunk {
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

// release gives the claim up after a failure, so that the next try need not wait
// until it expires. If that fails too, it does expire.
func (h holder) release(ctx context.Context) {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), time.Second)
	defer cancel()
	_ = h.apply(ctx, update{}, position{})
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
