package readmodel

import (
	"context"
	"errors"
	"time"
)

var (
	// errHoles says that the rows in Redis cannot be brought up to date from what
	// was touched: all have to be written anew.
	errHoles = errors.New("the rows in Redis have to be written anew")
	// errLarge says that too many rows were touched for one step.
	errLarge = errors.New("too many rows for one step")
	// errClaimed says that somebody else writes all rows anew just now.
	errClaimed = errors.New("the rows in Redis are being written anew by another process")
	// errOlder says that Redis stands before what the batch goes on from.
	errOlder = errors.New("Redis stands further back than when it was last seen")
)

// stepRows bounds one step, so that it stays well within a timeout and holds up
// other clients of Redis for milliseconds alone.
const stepRows = 1000

// batch is all that Redis lacks, rendered from one moment's state.
type batch struct {
	rows   []rendered
	since  uint64 // the rows suffice for any position from since on …
	after  uint64 // … but this batch left out what changed up to after
	target position
}

// pending renders what changed after the position last seen; errLarge if that is
// more than limit rows.
func (s *site[S]) pending(limit int) (batch, error) {
	s.mu.RLock()
	defer s.mu.RUnlock()
	b := batch{
		since: s.since, after: max(s.applied, s.since),
		target: position{Log: s.log, Sequence: s.chain.Sequence, Commit: s.commit},
	}
	if !s.verified {
		return batch{}, errHoles
	}
	keys := s.touchedAfter(b.after)
	if len(keys) > limit {
		return batch{}, errLarge
	}
	for _, key := range keys {
		if s.projection.archivedIn(s.state, key) != nil {
			return batch{}, errHoles // it changed before it left the state: its rows are made with all others
		}
		row, err := s.projection.render(s.state, key)
		if err != nil {
			return batch{}, err
		}
		b.rows = append(b.rows, row)
	}
	return b, nil
}

// step brings Redis up to the fold in one atomic step, if it can.
func (s *site[S]) step(ctx context.Context, st *Store) error {
	b, err := s.pending(stepRows)
	if err != nil {
		return err
	}
	var seen position
	err = st.apply(ctx, s.keys, update{rows: b.rows, guard: func(found position) (position, error) {
		seen = found
		return b.judge(found)
	}})
	if errors.Is(err, errOlder) {
		s.reached(seen.Sequence)
	}
	if err != nil {
		return err
	}
	s.reached(max(seen.Sequence, b.target.Sequence))
	return nil
}

// judge decides what the batch may do to the position found.
func (b batch) judge(found position) (position, error) {
	switch {
	case found.Claim != "":
		return position{}, errClaimed
	case !found.vouches(b.target.Log) || found.Sequence < b.since:
		return position{}, errHoles
	case found.Sequence == b.target.Sequence && found.Commit != b.target.Commit:
		return position{}, errHoles
	case found.Sequence >= b.target.Sequence:
		return position{}, errUpToDate
	case found.Sequence < b.after:
		return position{}, errOlder
	}
	return b.target, nil
}

// reached notes where Redis stands, and that its rows can be relied on.
func (s *site[S]) reached(sequence uint64) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.applied, s.serving, s.failure = sequence, true, nil
	s.tell()
}

// away notes that the rows in Redis cannot be relied on, and why.
func (s *site[S]) away(err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.serving = false
	s.failure = err
	s.tell()
}

// sync brings Redis up to date, by a step or by writing everything anew. Before
// the log is folded there is nothing to say: the fold calls again.
func (s *site[S]) sync(ctx context.Context, st *Store) error {
	if !s.isFolded() {
		return nil
	}
	err := s.step(ctx, st)
	for errors.Is(err, errOlder) || errors.Is(err, errRaced) {
		err = s.step(ctx, st)
	}
	if errors.Is(err, errLarge) {
		s.away(err)
		err = s.fill(ctx, st, filling{touchedOnly: true})
	}
	if errors.Is(err, errHoles) {
		s.away(err)
		err = s.fill(ctx, st, filling{})
	}
	return err
}

// pace is the least time between two steps while nobody waits for one. What many
// commits change in it is written once, and a step costs round trips, not rows.
const pace = 20 * time.Millisecond

// write keeps Redis up to date until ctx ends.
func (s *site[S]) write(ctx context.Context, st *Store, report func(error)) {
	gap := time.NewTimer(0)
	defer gap.Stop()
	retry(ctx, report, func() error {
		for {
			select {
			case <-s.wake:
			case <-ctx.Done():
				return ctx.Err()
			}
			select {
			case <-gap.C:
			case <-s.hurry:
			case <-ctx.Done():
				return ctx.Err()
			}
			gap.Reset(pace)
			if err := s.sync(ctx, st); err != nil {
				s.away(err)
				s.nudge()
				return err
			}
		}
	})
}
