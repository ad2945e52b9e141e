package check

import (
	"fmt"

	"ramprow/internal/engine/planner/exact"
	"ramprow/internal/engine/planner/rcpsp"
)

// Proof re-derives why no schedule ends before the proof's makespan. It takes each
// clause in turn, assumes that none of its alternatives holds, and looks at what is
// left of every start until nothing changes: something must be left with no place.
// Only then is the clause believed. In the end nothing assumed, something must be
// left without a place. Nil: the proof holds.
//
// What is left is found from the project alone: successors, the resources period by
// period, and activities that exclude each other. It is plain and slow on purpose.
func Proof(p rcpsp.Project, proof exact.Proof) error {
	r := newRoom(p, proof.Makespan-1)
	if !r.narrow() {
		return nil
	}
	for i, clause := range proof.Clauses {
		own, err := r.read(clause)
		if err != nil {
			return fmt.Errorf("clause %d of %d: %w", i+1, len(proof.Clauses), err)
		}
		if !r.contradicts(own) {
			return fmt.Errorf("clause %d of %d does not follow: %v", i+1, len(proof.Clauses), clause)
		}
		r.believe(own)
		if !r.narrow() {
			return nil
		}
	}
	return fmt.Errorf("after %d clauses a schedule of %d is still possible", len(proof.Clauses), proof.Makespan-1)
}

// order is two activities that exclude each other: which is first, 0 while unknown.
type order struct{ a, b int }

// bound is one alternative: on a start, or on an order.
type bound struct {
	start   bool
	what    int  // the activity, or the order
	atLeast bool // or, of an order: a is first
	time    int
}

// room is what is left of every start.
type room struct {
	project          rcpsp.Project
	earliest, latest []int // of each activity and the end
	orders           []order
	number           map[order]int
	first            []int8 // of each order: 1 a, -1 b, 0 unknown
	clauses          [][]bound
	changed          bool
}

func newRoom(p rcpsp.Project, end int) *room {
	n := len(p.Durations)
	r := &room{project: p, earliest: make([]int, n+1), latest: make([]int, n+1), number: map[order]int{}}
	for a := range n {
		r.latest[a] = end - p.Durations[a]
	}
	r.latest[n] = end
	for a := range n {
		for b := a + 1; b < n; b++ {
			if r.exclude(a, b) {
				r.number[order{a, b}] = len(r.orders)
				r.orders = append(r.orders, order{a, b})
			}
		}
	}
	r.first = make([]int8, len(r.orders))
	return r
}

// exclude tells whether two activities together take more of something than there is.
func (r *room) exclude(a, b int) bool {
	for k, c := range r.project.Capacities {
		if r.project.Demands[a][k]+r.project.Demands[b][k] > c {
			return r.project.Durations[a] > 0 && r.project.Durations[b] > 0
		}
	}
	return false
}

// read turns a clause into bounds, and refuses an order of two that may run at once.
func (r *room) read(clause []exact.Literal) ([]bound, error) {
	var own []bound
	for _, l := range clause {
		if l.Activity < 0 || l.Activity >= len(r.earliest) || l.Before < 0 || l.Before > len(r.project.Durations) {
			return nil, fmt.Errorf("there is no activity as in %v", l)
		}
		if l.Before == 0 {
			own = append(own, bound{start: true, what: l.Activity, atLeast: l.AtLeast, time: l.Time})
			continue
		}
		a, b := l.Activity, l.Before-1
		k, known := r.number[order{min(a, b), max(a, b)}]
		if !known {
			return nil, fmt.Errorf("activities %d and %d may run at once", a, b)
		}
		own = append(own, bound{what: k, atLeast: a < b})
	}
	return own, nil
}

// contradicts assumes that no alternative holds and tells whether that is impossible.
func (r *room) contradicts(clause []bound) bool {
	earliest, latest, first := append([]int(nil), r.earliest...), append([]int(nil), r.latest...), append([]int8(nil), r.first...)
	possible := true
	for _, b := range clause {
		possible = possible && r.set(opposite(b))
	}
	possible = possible && r.narrow()
	r.earliest, r.latest, r.first = earliest, latest, first
	return !possible
}

func (r *room) believe(clause []bound) {
	r.clauses = append(r.clauses, clause)
	r.changed = true
}

func opposite(b bound) bound {
	b.atLeast = !b.atLeast
	if b.start {
		if b.atLeast { // it was: no later than time
			b.time++
		} else {
			b.time--
		}
	}
	return b
}

// set narrows; false: nothing is left.
func (r *room) set(b bound) bool {
	switch {
	case b.start && b.atLeast:
		return r.atLeast(b.what, b.time)
	case b.start:
		return r.atMost(b.what, b.time)
	}
	want := int8(-1)
	if b.atLeast {
		want = 1
	}
	r.changed = r.changed || r.first[b.what] != want
	if r.first[b.what] == -want {
		return false
	}
	r.first[b.what] = want
	return true
}

func (r *room) atLeast(a, t int) bool {
	if t > r.earliest[a] {
		r.earliest[a], r.changed = t, true
	}
	return r.earliest[a] <= r.latest[a]
}

func (r *room) atMost(a, t int) bool {
	if t < r.latest[a] {
		r.latest[a], r.changed = t, true
	}
	return r.earliest[a] <= r.latest[a]
}

// state of an alternative: 1 holds, -1 cannot, 0 open.
func (r *room) state(b bound) int {
	if !b.start {
		switch {
		case r.first[b.what] == 0:
			return 0
		case (r.first[b.what] > 0) == b.atLeast:
			return 1
		}
		return -1
	}
	if b.atLeast {
		switch {
		case r.earliest[b.what] >= b.time:
			return 1
		case r.latest[b.what] < b.time:
			return -1
		}
		return 0
	}
	switch {
	case r.latest[b.what] <= b.time:
		return 1
	case r.earliest[b.what] > b.time:
		return -1
	}
	return 0
}

// narrow applies every rule until nothing changes; false: something has no place.
func (r *room) narrow() bool {
	for r.changed = true; r.changed; {
		r.changed = false
		if !r.successors() || !r.exclusions() || !r.resources() || !r.believed() {
			return false
		}
	}
	return true
}
