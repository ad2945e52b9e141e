package bench

import (
	"context"
	"fmt"
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
	shelf   *shelf
	raw     *jetstream.RawPublisher
	payload int // bytes that the broker's leg publishes
}

func newTrack(ctx context.Context, s *stand, site string) (*track, error) {
	shelf, err := newShelf(ctx, s, site)
	if err != nil {
		return nil, err
	}
	answer, err := shelf.receive(shelf.ctx, 0)
	if err != nil {
		return nil, fmt.Errorf("receive the first goods: %w", err)
	}
	s.hollow.answer.Store(answer)
	t := &track{shelf: shelf}
	if t.payload, err = shelf.commitSize(ctx); err != nil {
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
func (t *track) run(l leg, callers int, duration time.Duration) (Sample, error) {
	ctx := t.shelf.ctx
	switch l {
	case broker:
		return load(ctx, callers, duration, func(ctx context.Context, _ int) error { return t.raw.Publish(ctx) })
	case bare:
		return load(ctx, callers, duration, func(ctx context.Context, caller int) error {
			_, err := t.shelf.stand.bare.ReceiveGoods(ctx, goods(caller))
			return err
		})
	default:
		s, err := load(ctx, callers, duration, func(ctx context.Context, caller int) error {
			_, err := t.shelf.receive(ctx, caller)
			return err
		})
		if err != nil {
			return Sample{}, err
		}
		return s, t.shelf.settle(ctx)
	}
}

// round is what the legs gave side by side.
type round [legs]Sample

// measure spends all rounds: by number of callers, what each round gave.
func (t *track) measure(c Config) (map[int][]round, error) {
	c.say("warming up")
	// Connections, caches and the garbage collector's goal: not measured.
	for l := range legs {
		if _, err := t.run(l, max(1, c.largest()), c.Duration/4); err != nil {
			return nil, err
		}
	}
	measured := map[int][]round{}
	for n := range c.Rounds {
		for _, callers := range c.Callers {
			var r round
			for i := range legs {
				l := (i + leg(n)) % legs
				sample, err := t.run(l, callers, c.Duration)
				if err != nil {
					return nil, err
				}
				r[l] = sample
			}
			measured[callers] = append(measured[callers], r)
			c.say("round %d of %d at %d callers: %.0f commands/s", n+1, c.Rounds, callers, r[commands].Rate())
		}
	}
	return measured, nil
}
