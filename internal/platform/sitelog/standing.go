package sitelog

import (
	"context"
	"maps"
	"slices"
	"sync/atomic"
)

// Standing is what a runner can tell of all its sites without asking anybody.
type Standing struct {
	// Sites that have a writer.
	Sites int
	// Parked events of all sites.
	Parked int
}

// gauges are what a writer's goroutine lets others see.
type gauges struct {
	active atomic.Bool
	parked atomic.Int64
	seen   map[string]*atomic.Uint64 // by followed log; the map itself never changes
}

func newGauges(follows []string) gauges {
	seen := map[string]*atomic.Uint64{}
	for _, service := range follows {
		seen[service] = &atomic.Uint64{}
	}
	return gauges{seen: seen}
}

func (g *gauges) set(parked int, active bool, seen map[string]uint64) {
	g.parked.Store(int64(parked))
	g.active.Store(active)
	for service, sequence := range g.seen {
		sequence.Store(seen[service])
	}
}

// Standing looks at what the writers show.
func (r *Runner[S]) Standing() Standing {
	writers := r.all()
	standing := Standing{Sites: len(writers)}
	for _, w := range writers {
		standing.Parked += int(w.gauges.parked.Load())
	}
	return standing
}

// Behind says how many sequences a followed log is ahead of what was reacted to, at
// the site that is furthest behind of those whose reactions are this runner's. It
// asks the log once for each of them. Sequences count the commits of all sites of
// the followed service.
func (r *Runner[S]) Behind(ctx context.Context, service string) (uint64, error) {
	var most uint64
	for _, w := range r.all() {
		if !w.gauges.active.Load() {
			continue
		}
		reached := w.gauges.seen[service].Load()
		last, err := r.log.Last(ctx, Subject{Service: service, Site: w.subject.Site})
		if err != nil {
			return 0, err
		}
		if last.Sequence > reached {
			most = max(most, last.Sequence-reached)
		}
	}
	return most, nil
}

func (r *Runner[S]) all() []*writer[S] {
	r.mu.RLock()
	defer r.mu.RUnlock()
	return slices.Collect(maps.Values(r.writers))
}
