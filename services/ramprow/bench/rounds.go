package bench

import (
	"context"
	"fmt"
	"slices"
	"time"

	"ramprow/internal/platform/sitelog/jetstream"
)

// leg is one way of spending a round.
type leg int

const (
	commands leg = iota
	broker
	bare
	legs // how many there are
)

// rawPublisher is a log that can publish without the site log's ways.
type rawPublisher interface {
	NewRawPublisher(ctx context.Context, size int) (*jetstream.RawPublisher, error)
}

// track is everything that the legs call.
type track struct {
	shelves []*shelf // one a site
	raw     *jetstream.RawPublisher
	payload int // bytes that the broker's leg publishes
}

func newTrack(ctx context.Context, s *stand, c Config) (*track, error) {
	t := &track{}
	for i := range slices.Max(c.Sites) {
		shelf, err := newShelf(ctx, s, c.site(fmt.Sprintf("goods-%d", i+1)))
		if err != nil {
			return nil, err
		}
		t.shelves = append(t.shelves, shelf)
	}
	first := t.shelves[0]
	answer, err := first.receive(first.ctx, 0)
	if err != nil {
		return nil, fmt.Errorf("receive the first goods: %w", err)
	}
	s.hollow.answer.Store(answer)
	if t.payload, err = first.commitSize(ctx); err != nil {
		return nil, err
	}
	log, ok := s.workshop.Backend.Log.(rawPublisher)
	if !ok {
		return nil, fmt.Errorf("a log of type %T has no broker to compare with", s.workshop.Backend.Log)
	}
	if t.raw, err = log.NewRawPublisher(ctx, t.payload); err != nil {
		return nil, err
	}
	return t, nil
}

// run spends one leg and leaves the machine quiet for the next.
func (t *track) run(l leg, n crowd, duration time.Duration) (Sample, error) {
	ctx := t.shelves[0].ctx
	switch l {
	case broker:
		return load(ctx, n.callers, duration, task{do: func(ctx context.Context, _ int) error { return t.raw.Publish(ctx) }})
	case bare:
		return load(ctx, n.callers, duration, task{do: func(ctx context.Context, caller int) error {
			_, err := t.shelves[0].stand.bare.ReceiveGoods(ctx, goods(caller))
			return err
		}})
	default:
		sample, err := t.command(ctx, n, duration)
		if err != nil {
			return Sample{}, err
		}
		for _, shelf := range t.shelves[:n.sites] {
			if err := shelf.settle(shelf.ctx); err != nil {
				return Sample{}, err
			}
		}
		return sample, nil
	}
}

// command lets callers receive goods, each always at the same site.
func (t *track) command(ctx context.Context, n crowd, duration time.Duration) (Sample, error) {
	of := func(caller int) *shelf { return t.shelves[caller%n.sites] }
	return load(ctx, n.callers, duration, task{
		as: func(ctx context.Context, caller int) context.Context { return of(caller).clerk(ctx) },
		do: func(ctx context.Context, caller int) error {
			_, err := of(caller).receive(ctx, caller)
			return err
		},
	})
}

// count reads the logs of all sites.
func (t *track) count(ctx context.Context) (Counted, error) {
	var all Counted
	for _, shelf := range t.shelves {
		c, err := shelf.count(ctx)
		if err != nil {
			return Counted{}, err
		}
		all.Answered, all.InLog, all.Commits = all.Answered+c.Answered, all.InLog+c.InLog, all.Commits+c.Commits
	}
	return all, nil
}

// round is what the legs gave side by side.
type round [legs]Sample

// measure spends all rounds: by crowd, what each round gave.
func (t *track) measure(c Config) (map[crowd][]round, error) {
	crowds := c.crowds()
	c.say("warming up")
	// Connections, caches and the garbage collector's goal: not measured.
	for l := range legs {
		if _, err := t.run(l, crowd{slices.Max(c.Callers), 1}, c.Duration/4); err != nil {
			return nil, err
		}
	}
	measured := map[crowd][]round{}
	for i := range c.Rounds {
		for _, n := range crowds {
			var r round
			for j := range legs {
				l := (j + leg(i)) % legs
				sample, err := t.run(l, n, c.Duration)
				if err != nil {
					return nil, err
				}
				r[l] = sample
			}
			measured[n] = append(measured[n], r)
			c.say("round %d of %d, %d callers at %d sites: %.0f commands/s", i+1, c.Rounds, n.callers, n.sites, r[commands].Rate())
		}
	}
	return measured, nil
}
