package readmodel

import (
	"context"
	"maps"
	"slices"
)

// Behind says how many sequences the log is ahead of the rows in Redis, at the
// site that is furthest behind.
func (p *Projector[S]) Behind(ctx context.Context) (uint64, error) {
	p.mu.Lock()
	sites := slices.Collect(maps.Values(p.sites))
	p.mu.Unlock()
	var most uint64
	for _, s := range sites {
		s.mu.RLock()
		applied := s.applied
		s.mu.RUnlock()
		last, err := p.Log.Last(ctx, s.subject)
		if err != nil {
			return 0, err
		}
		if last.Sequence > applied {
			most = max(most, last.Sequence-applied)
		}
	}
	return most, nil
}
