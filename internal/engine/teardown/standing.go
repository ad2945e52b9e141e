package teardown

import "fmt"

// standing is a car as it stands, by index.
type standing struct {
	off     []bool
	reached []bool
	states  []int
	// done are the operations to be closed, in an order in which they could have been done.
	done []int
}

// stand reads the car's state. Pieces that are off although no posted operation explains it are put
// down to the operation that puts them back with the least effort.
func (e *Engine) stand(c CarState) (*standing, error) {
	s := &standing{off: make([]bool, len(e.model.Pieces)), reached: make([]bool, len(e.model.Pieces))}
	done, err := e.indexes("car state", e.operations, c.Done)
	if err != nil {
		return nil, err
	}
	off, err := e.indexes("car state", e.pieces, c.Off)
	if err != nil {
		return nil, err
	}
	reached, err := e.indexes("car state", e.pieces, c.Reached)
	if err != nil {
		return nil, err
	}
	if s.states, err = e.indexes("car state", e.states, c.States); err != nil {
		return nil, err
	}
	twice := make(map[int]bool, len(done))
	for _, o := range done {
		if twice[o] {
			return nil, &InvalidError{fmt.Sprintf("operation %q", e.model.Operations[o].ID), "is done twice without a refit between"}
		}
		twice[o] = true
		s.open(e, o)
	}
	var assumed []int
	for _, p := range off {
		if s.off[p] {
			continue
		}
		if o := e.cheapestRefit(p); o >= 0 {
			assumed = append(assumed, o)
			s.open(e, o)
		}
		s.off[p], s.reached[p] = true, true
	}
	for _, p := range reached {
		s.reached[p] = true
	}
	s.done = e.plausibleOrder(done, assumed)
	return s, nil
}

func (s *standing) open(e *Engine, operation int) {
	o := e.model.Operations[operation]
	for _, id := range o.TakesOff {
		s.off[e.pieces[id]] = true
		s.reached[e.pieces[id]] = true
	}
	for _, id := range o.Reaches {
		s.reached[e.pieces[id]] = true
	}
}

// ready reports whether all groups of the operation are satisfied.
func (s *standing) ready(e *Engine, operation int) bool {
	for _, g := range e.groups[operation] {
		if !s.satisfies(g) {
			return false
		}
	}
	return true
}

func (s *standing) satisfies(g group) bool {
	for _, p := range g.pieces {
		if s.off[p] || g.reached && s.reached[p] {
			return true
		}
	}
	return false
}

func (e *Engine) cheapestRefit(piece int) int {
	best := -1
	for i, o := range e.model.Operations {
		for _, id := range o.TakesOff {
			if e.pieces[id] == piece && (best < 0 || o.Refit.Mean() < e.model.Operations[best].Refit.Mean()) {
				best = i
			}
		}
	}
	return best
}

// plausibleOrder merges assumed operations into the posted ones as early as the model allows.
// Operations that the model would not have allowed, because somebody forced them, come last, so
// that they are closed first.
func (e *Engine) plausibleOrder(done, assumed []int) []int {
	if len(assumed) == 0 {
		return done
	}
	now := &standing{off: make([]bool, len(e.model.Pieces)), reached: make([]bool, len(e.model.Pieces))}
	pending := append(append([]int(nil), assumed...), done...)
	var out []int
	for len(pending) > 0 {
		at := -1
		for i, o := range pending {
			if now.ready(e, o) {
				at = i
				break
			}
		}
		if at < 0 {
			return append(out, pending...)
		}
		now.open(e, pending[at])
		out = append(out, pending[at])
		pending = append(pending[:at], pending[at+1:]...)
	}
	return out
}
