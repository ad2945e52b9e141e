package readmodel

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
)

const (
	compareChunk = 500 // rows asked for at a time
	// maxDifferences bounds what is told: more say nothing new.
	maxDifferences = 20
)

// Compare folds a site's log anew, without snapshots, and gives in words what
// Redis holds otherwise: rows and the lists that they stand in, missing, too many
// or different. It changes nothing and needs no Run. It can only be told while
// nobody writes, so Redis must stand at the log's end.
// Errors: NotFound (no such log), Unavailable (Redis is away or stands elsewhere).
func (p *Projector[S]) Compare(ctx context.Context, name string) (differences []string, err error) {
	s := newSite(p.Projection, p.Log, name)
	last, err := p.Log.Last(ctx, s.subject)
	if err != nil {
		return nil, unavailable(err)
	}
	if last.Sequence == 0 {
		return nil, noLog(s.subject)
	}
	if _, err := p.begin(ctx, s, position{}, nil); err != nil {
		return nil, unavailable(err)
	}
	if err := p.Log.Read(ctx, s.subject, 0, s.fold); err != nil {
		return nil, err
	}
	c, err := newComparison(ctx, p, s)
	if err != nil {
		return nil, err
	}
	if err := c.run(ctx); err != nil {
		return nil, err
	}
	return c.found, nil
}

func noLog(subject sitelog.Subject) *fault.Error {
	return fault.New(fault.NotFound, "LOG_NOT_FOUND",
		"there is no log of %s for the site %q", subject.Service, subject.Site).With("site", subject.Site)
}

// comparison is what Redis should hold of a site, by key, beside what it does.
type comparison struct {
	store *Store
	keys  keyspace
	at    position
	rows  map[string]string
	lists map[string][]string // in order
	found []string
}

func newComparison[S any](ctx context.Context, p *Projector[S], s *site[S]) (*comparison, error) {
	c := &comparison{
		store: p.Store, keys: s.keys, rows: map[string]string{}, lists: map[string][]string{},
		at: position{Log: s.log, Sequence: s.chain.Sequence, Commit: s.commit},
	}
	rows, err := s.renderAll(p.Projection.allKeys(s.state))
	if err != nil {
		return nil, err
	}
	if p.Projection.Archive != nil {
		for _, name := range p.Projection.Archive.All(s.state) {
			more, err := s.rowsOf(ctx, name)
			if err != nil {
				return nil, err
			}
			rows = append(rows, more...)
		}
	}
	for _, row := range rows {
		if row.value == nil {
			continue
		}
		c.rows[s.keys.row(row.key)] = string(row.value)
		members, _, err := unpackRow(string(row.value))
		if err != nil {
			return nil, err
		}
		for _, m := range members {
			list := s.keys.index(row.key.Model, m.name)
			c.lists[list] = append(c.lists[list], m.value)
		}
	}
	for _, list := range c.lists {
		slices.Sort(list)
	}
	return c, nil
}

func (c *comparison) run(ctx context.Context) error {
	if err := c.standsStill(ctx); err != nil {
		return err
	}
	for _, compare := range []func(context.Context) error{c.compareRows, c.compareLists, c.lookForMore} {
		if err := compare(ctx); err != nil {
			return away(err)
		}
	}
	return c.standsStill(ctx)
}

// standsStill demands that Redis holds just what was folded.
func (c *comparison) standsStill(ctx context.Context) error {
	found, err := c.store.position(ctx, c.keys)
	if err != nil {
		return away(err)
	}
	if found != c.at {
		return behind(fmt.Errorf("redis stands at sequence %d, commit %q; the log ends at %d, %q", found.Sequence, found.Commit, c.at.Sequence, c.at.Commit))
	}
	return nil
}

func (c *comparison) differ(key, format string, args ...any) {
	if len(c.found) < maxDifferences {
		c.found = append(c.found, strings.TrimPrefix(key, c.keys.prefix)+" "+fmt.Sprintf(format, args...))
	}
}

func (c *comparison) compareRows(ctx context.Context) error {
	for keys := range slices.Chunk(slices.Sorted(maps.Keys(c.rows)), compareChunk) {
		values, err := c.store.client.MGet(ctx, keys...).Result()
		if err != nil {
			return err
		}
		for i, key := range keys {
			switch value, isThere := values[i].(string); {
			case !isThere:
				c.differ(key, "is missing")
			case value != c.rows[key]:
				c.differ(key, "is another one than the log makes")
			}
		}
	}
	return nil
}

func (c *comparison) compareLists(ctx context.Context) error {
	for _, key := range slices.Sorted(maps.Keys(c.lists)) {
		members, err := c.store.client.ZRange(ctx, key, 0, -1).Result()
		if err != nil {
			return err
		}
		if !slices.Equal(members, c.lists[key]) {
			c.differ(key, "lists %d rows, or others, where the log makes %d", len(members), len(c.lists[key]))
		}
	}
	return nil
}

// lookForMore finds what nothing in the log has made.
func (c *comparison) lookForMore(ctx context.Context) error {
	scan := c.store.client.Scan(ctx, 0, c.keys.pattern(), scanChunk).Iterator()
	for scan.Next(ctx) {
		key := scan.Val()
		_, isRow := c.rows[key]
		_, isList := c.lists[key]
		if !isRow && !isList && key != c.keys.position() {
			c.differ(key, "is there, and the log makes no such thing")
		}
	}
	return scan.Err()
}

// StandsElsewhere tells of an error of Compare that may be gone in a moment.
func StandsElsewhere(err error) bool {
	f, ok := errors.AsType[*fault.Error](err)
	return ok && (f.Reason == ReasonBehind || f.Reason == ReasonAway)
}
