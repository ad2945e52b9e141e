package readmodel

import (
	"context"
	"fmt"
	"slices"

	"github.com/redis/go-redis/v9"
)

// chores are what an update has to do, gathered by kind: a server takes one
// command with a thousand values for little more than one with a single value,
// and a server in this process writes an answer to each command.
type chores struct {
	keys    keyspace
	set     []any    // keys and values in turn
	gone    []string // keys
	listed  map[string][]redis.Z
	dropped map[string][]any
	indexes []string // those of listed and dropped, in the order of the rows
}

func newChores(ks keyspace) *chores {
	return &chores{keys: ks, listed: map[string][]redis.Z{}, dropped: map[string][]any{}}
}

// replace notes what turns the stored row into the new one.
func (c *chores) replace(row rendered, stored any) error {
	before, isThere := stored.(string)
	if isThere && row.value != nil && before == string(row.value) {
		return nil
	}
	old, _, err := unpackRow(before)
	if err != nil {
		// A damaged row cannot say where it is listed: only a rebuild cleans that up.
		return fmt.Errorf("%w: %w", errHoles, err)
	}
	// A row is listed a few times at most: looking through is less work than maps.
	for _, m := range old {
		if !slices.Contains(row.index, m) {
			index := c.index(row.key.Model, m.name)
			c.dropped[index] = append(c.dropped[index], m.value)
		}
	}
	for _, m := range row.index {
		if !slices.Contains(old, m) {
			index := c.index(row.key.Model, m.name)
			c.listed[index] = append(c.listed[index], redis.Z{Member: m.value})
		}
	}
	switch {
	case row.value != nil:
		c.set = append(c.set, c.keys.row(row.key), row.value)
	case isThere:
		c.gone = append(c.gone, c.keys.row(row.key))
	}
	return nil
}

// index gives the key of an index that will be changed.
func (c *chores) index(model, name string) string {
	index := c.keys.index(model, name)
	if c.listed[index] == nil && c.dropped[index] == nil {
		c.indexes = append(c.indexes, index)
	}
	return index
}

// queue puts the chores into a pipeline. A member that one row drops and another
// lists would be another row's: members end with the row's identifier, so the
// order of the two does not matter.
func (c *chores) queue(ctx context.Context, pipe redis.Pipeliner) {
	for _, index := range c.indexes {
		if members := c.dropped[index]; len(members) > 0 {
			pipe.ZRem(ctx, index, members...)
		}
		if members := c.listed[index]; len(members) > 0 {
			pipe.ZAdd(ctx, index, members...)
		}
	}
	if len(c.set) > 0 {
		pipe.MSet(ctx, c.set...)
	}
	if len(c.gone) > 0 {
		pipe.Unlink(ctx, c.gone...)
	}
}
