package readmodel

import (
	"context"
	"errors"

	"github.com/redis/go-redis/v9"
)

// errRaced says that another projector moved the position meanwhile.
var errRaced = errors.New("another projector wrote at the same time")

// errUpToDate is a guard's way to say that there is nothing to write.
var errUpToDate = errors.New("up to date")

// guard looks at the position found and gives the one to write in its place.
// Its error is returned as it is, and nothing is written.
type guard func(found position) (next position, err error)

// update is one atomic step: rows replace what is there, keys are deleted, and
// the position moves as its guard says.
type update struct {
	rows   []rendered
	remove []string
	guard  guard
}

// apply does the update, or nothing. It costs one round trip each to watch, to
// read what stands there, and to write.
func (st *Store) apply(ctx context.Context, ks keyspace, u update) error {
	err := st.client.Watch(ctx, func(tx *redis.Tx) error {
		values, err := readRows(ctx, tx, ks, u.rows)
		if err != nil {
			return err
		}
		stored, old := values[0] != nil, values[1:]
		next, err := u.guard(decodePosition(values[0]))
		if err != nil {
			return err
		}
		return writeRows(ctx, tx, ks, change{update: u, old: old, isThere: stored, next: next})
	}, ks.position())
	switch {
	case errors.Is(err, redis.TxFailedErr), errors.Is(err, redis.Nil):
		return errRaced
	case errors.Is(err, errUpToDate):
		return nil
	}
	return err
}

// readRows gives the stored position, then the stored rows, nil where there is none.
func readRows(ctx context.Context, tx *redis.Tx, ks keyspace, rows []rendered) ([]any, error) {
	keys := make([]string, 0, len(rows)+1)
	keys = append(keys, ks.position())
	for _, r := range rows {
		keys = append(keys, ks.row(r.key))
	}
	return tx.MGet(ctx, keys...).Result()
}

// change is an update beside what it replaces.
type change struct {
	update
	old     []any
	isThere bool // a position stands there
	next    position
}

// mode lets the position be set only where one stood as before. WATCH says the
// same, but a server in process does not count FLUSHALL as a change of the key:
// there the rows would come alone, without those that the flush took. Without a
// position nobody believes them, and the next look writes all anew.
func (c change) mode() string {
	if c.isThere {
		return "XX"
	}
	return "NX"
}

func writeRows(ctx context.Context, tx *redis.Tx, ks keyspace, c change) error {
	stamp, err := c.next.encode()
	if err != nil {
		return err
	}
	todo := newChores(ks)
	for i, row := range c.rows {
		if err := todo.replace(row, c.old[i]); err != nil {
			return err
		}
	}
	todo.gone = append(todo.gone, c.remove...)
	_, err = tx.TxPipelined(ctx, func(pipe redis.Pipeliner) error {
		todo.queue(ctx, pipe)
		pipe.SetArgs(ctx, ks.position(), stamp, redis.SetArgs{Mode: c.mode(), TTL: c.next.life()})
		return nil
	})
	return err
}

// position reads where the rows of a site stand.
func (st *Store) position(ctx context.Context, ks keyspace) (position, error) {
	values, err := st.client.MGet(ctx, ks.position()).Result()
	if err != nil {
		return position{}, err
	}
	return decodePosition(values[0]), nil
}
