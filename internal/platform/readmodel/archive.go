package readmodel

import (
	"context"
	"errors"
	"fmt"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
)

// Archive says which rows belong to things that leave the state when they are
// finished (see sitelog.ArchivedError). Their rows stay as they are; to make
// them anew, a thing is brought back into the fold for a moment.
type Archive[S any] struct {
	// Find gives the error that brings an archived thing back; nil: it is not archived.
	Find func(state S, name string) *sitelog.ArchivedError
	// All names every archived thing.
	All func(state S) []string
	// RowsOf gives all rows of a thing that is in the state.
	RowsOf func(state S, name string) []Key
	// Of names the thing that a row belongs to; empty: none that ever leaves.
	Of func(Key) string
	// Lists says whose rows the part of an index that begins with prefix lists:
	// those of one thing, also of archived ones, or only of what is in the state.
	Lists func(state S, model, index, prefix string) (name string, archived bool)
}

// archivedIn tells whether a row belongs to something archived.
func (p Projection[S]) archivedIn(state S, key Key) *sitelog.ArchivedError {
	if p.Archive == nil {
		return nil
	}
	if name := p.Archive.Of(key); name != "" {
		return p.Archive.Find(state, name)
	}
	return nil
}

// listable says why an index cannot be listed from the state alone, if it cannot.
func (p Projection[S]) listable(state S, q ListQuery) error {
	if p.Archive == nil {
		return nil
	}
	name, archived := p.Archive.Lists(state, q.Model, q.Index, q.Prefix)
	if name != "" {
		if f := p.Archive.Find(state, name); f != nil {
			return f
		}
	}
	if archived && len(p.Archive.All(state)) > 0 {
		return fault.New(fault.Unavailable, ReasonAway,
			"finished ones are listed by Redis, which cannot answer now; ask for open ones, or try again in a moment")
	}
	return nil
}

// with runs fn, under the lock, on a fold that has a thing, be it archived or not.
func (s *site[S]) with(ctx context.Context, name string, fn func(state S) error) error {
	find, evolve := s.projection.Archive.Find, s.projection.Machine.Evolve
	var back sitelog.Event
	for {
		s.mu.Lock()
		filed, chain := find(s.state, name), s.chain
		if filed == nil || back.Message != nil && filed.Commit == back.Number {
			break
		}
		s.mu.Unlock()
		recalled, err := sitelog.FromArchive(ctx, s.records, chain, filed)
		if err != nil {
			return fmt.Errorf("read the archive: %w", err)
		}
		back = sitelog.Event{Message: recalled, Site: s.subject.Site, Number: filed.Commit}
	}
	defer s.mu.Unlock()
	filed := find(s.state, name)
	if filed == nil {
		return fn(s.state)
	}
	evolve(s.state, back)
	defer evolve(s.state, sitelog.Undo(filed, s.subject.Site))
	return fn(s.state)
}

// view runs fn, and again with what it lacks brought back.
func (s *site[S]) view(ctx context.Context, fn func(S) error) (uint64, error) {
	s.mu.RLock()
	sequence, err := s.chain.Sequence, fn(s.state)
	s.mu.RUnlock()
	if filed, ok := errors.AsType[*sitelog.ArchivedError](err); ok {
		err = s.with(ctx, filed.Name, func(state S) error { sequence = s.chain.Sequence; return fn(state) })
	}
	return sequence, err
}

// fillArchived writes the rows of what has left the state.
func (s *site[S]) fillArchived(ctx context.Context, h holder, names []string, told func()) error {
	var rows []rendered
	for _, name := range names {
		more, err := s.rowsOf(ctx, name)
		if err != nil {
			return err
		}
		rows = append(rows, more...)
		for len(rows) >= fillChunk {
			if err := h.put(ctx, rows[:fillChunk]); err != nil {
				return err
			}
			rows = rows[fillChunk:]
		}
		told()
	}
	return h.put(ctx, rows)
}

// rowsOf renders all rows of a thing, be it archived or not.
func (s *site[S]) rowsOf(ctx context.Context, name string) (rows []rendered, err error) {
	err = s.with(ctx, name, func(state S) error {
		for _, key := range s.projection.Archive.RowsOf(state, name) {
			row, err := s.projection.render(state, key)
			if err != nil {
				return err
			}
			rows = append(rows, row)
		}
		return nil
	})
	return rows, err
}
