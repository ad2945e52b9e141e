package readmodel

import (
	"context"
	"errors"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/fault"
)

// The reasons of this package's refusals, beside ReasonAway.
const (
	ReasonNotFound = "ROW_NOT_FOUND"
	ReasonBehind   = "READ_MODEL_BEHIND"
)

// State shows a site's state, and the sequence it stands at. fn must not keep
// it. A service's writer is one, and so is a Projector.
type State[S any] interface {
	View(ctx context.Context, site string, fn func(S) error) (revision uint64, err error)
}

// Views answers a service's reads.
type Views[S any] struct {
	projector *Projector[S]
	fallback  State[S]
}

// NewViews reads what the projector writes. The fallback answers while Redis is
// away or being filled; without one such reads are refused as Unavailable.
func NewViews[S any](p *Projector[S], fallback State[S]) *Views[S] {
	return &Views[S]{projector: p, fallback: fallback}
}

// Get reads one row into out, at least as new as minRevision, and gives the
// revision that it stands for. It waits for minRevision as long as ctx allows.
// Errors: NotFound, Unavailable.
func (v *Views[S]) Get(ctx context.Context, site string, key Key, minRevision uint64, out proto.Message) (revision uint64, err error) {
	g := &getting[S]{views: v, key: key}
	revision, err = v.read(ctx, site, minRevision, g)
	if err != nil {
		return 0, err
	}
	if g.packed == "" {
		return revision, fault.New(fault.NotFound, ReasonNotFound,
			"there is no %s %q in this site", key.Model, key.ID).With("model", key.Model).With("id", key.ID)
	}
	return revision, decodeRow(g.packed, out)
}

// getting reads one row.
type getting[S any] struct {
	views  *Views[S]
	key    Key
	packed string // empty: there is none
}

func (g *getting[S]) fromRedis(ctx context.Context, ks keyspace) (position, error) {
	// MGET is atomic, so the position vouches for the very row beside it.
	values, err := g.views.projector.Store.client.MGet(ctx, ks.position(), ks.row(g.key)).Result()
	if err != nil {
		return position{}, err
	}
	g.packed, _ = values[1].(string)
	return decodePosition(values[0]), nil
}

func (g *getting[S]) fromState(state S) error {
	p := g.views.projector.Projection
	if f := p.archivedIn(state, g.key); f != nil {
		return f
	}
	row, err := p.render(state, g.key)
	g.packed = string(row.value)
	return err
}

// reading is one question that can be put to Redis or to the state.
type reading[S any] interface {
	fromRedis(ctx context.Context, ks keyspace) (position, error)
	fromState(state S) error
}

// read puts the question to Redis, waiting for minRevision if it has to, and to
// the state if Redis cannot be relied on.
func (v *Views[S]) read(ctx context.Context, name string, minRevision uint64, r reading[S]) (uint64, error) {
	s, err := v.projector.find(ctx, name, minRevision)
	if err != nil || s == nil {
		return 0, unavailable(err)
	}
	// Rows are written with a pace, but nobody reads older ones than the fold knows of.
	wanted := max(minRevision, s.known())
	for {
		known := s.standing()
		if !known.serving {
			return v.readState(ctx, s, minRevision, r)
		}
		if known.applied >= wanted {
			found, err := r.fromRedis(ctx, s.keys)
			reliable := err == nil && found.vouches(known.log)
			if !reliable || found.Sequence < known.applied {
				s.nudge() // Redis lost something: the writer must notice.
			}
			switch {
			case !reliable:
				return v.readState(ctx, s, minRevision, r)
			case found.Sequence >= wanted:
				return found.Sequence, nil
			}
		}
		s.press()
		select {
		case <-known.changed:
		case <-ctx.Done():
			return 0, s.behind(ctx.Err())
		}
	}
}

// readState asks the fallback, once the log is folded far enough to say that
// its answer is no older than the caller may expect.
func (v *Views[S]) readState(ctx context.Context, s *site[S], minRevision uint64, r reading[S]) (uint64, error) {
	if v.fallback == nil {
		return 0, away(s.reason())
	}
	if err := s.await(ctx, func() bool { return s.folded(minRevision) }); err != nil {
		return 0, err
	}
	revision, err := v.fallback.View(ctx, s.subject.Site, r.fromState)
	if err != nil {
		return 0, unavailable(err)
	}
	if revision < minRevision {
		return 0, behind(errors.New("the state is older than the read may be"))
	}
	return revision, nil
}

// standing is what a reader has to know about a site.
type standing struct {
	serving bool
	log     string
	applied uint64
	changed <-chan struct{} // closed once any of it has changed
}

func (s *site[S]) standing() standing {
	s.mu.Lock()
	defer s.mu.Unlock()
	return standing{serving: s.serving, log: s.log, applied: s.applied, changed: s.change()}
}

// known is what Redis is about to be brought up to; 0 while a log from before the
// start is folded, when Redis is further than the fold.
func (s *site[S]) known() uint64 {
	s.mu.RLock()
	defer s.mu.RUnlock()
	if !s.verified || !s.folded(0) {
		return 0
	}
	return s.chain.Sequence
}

// stopped notes why the fold stands still.
func (s *site[S]) stopped(err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.failure = err
	s.tell()
}

// reason says why the site stands still, if it does.
func (s *site[S]) reason() error {
	s.mu.RLock()
	defer s.mu.RUnlock()
	return s.failure
}

// behind is the error of a wait that ctx ended.
func (s *site[S]) behind(err error) error { return behind(errors.Join(err, s.reason())) }

func behind(cause error) error {
	return fault.New(fault.Unavailable, ReasonBehind,
		"what was written last cannot be read yet; try again in a moment").Because(cause)
}

// unavailable makes errors of the log and of the fallback neutral, and leaves
// those alone that know already what they are.
func unavailable(err error) error {
	if err == nil {
		return nil
	}
	if _, ok := errors.AsType[*fault.Error](err); ok {
		return err
	}
	return behind(err)
}

func decodeRow(packed string, out proto.Message) error {
	_, value, err := unpackRow(packed)
	if err != nil {
		return err
	}
	return proto.Unmarshal(value, out)
}
