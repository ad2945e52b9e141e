package diagnosis

import "math/bits"

// planner looks ahead under the assumption that exactly one cause is present. It is the single-
// fault view of an Engine and some evidence.
type planner struct {
	repairs  []access
	tests    []probe
	openings []access
	handOver float64
	// behind and inside list, by opening + 1, the repairs and the openings that lie in it; 0 is the
	// outside.
	behind, inside [][]int
	// seen holds the bounds found for states, by how deep they were looked into.
	seen map[position]bounds
	// looks is how many more states may be judged.
	looks int
	// blocks and beliefs are reused, the latter by depth and result.
	blocks  []block
	beliefs [][2][]float64
}

// access is what an action costs and the opening behind which, or for an opening inside which, it
// lies; -1 outside.
type access struct {
	minutes float64
	behind  int
}

// probe is a test with the probability of a positive result by suspect.
type probe struct {
	access
	positive []float64
	// certain says that every suspect decides the result, so that what is left after it depends
	// on the result alone.
	certain bool
}

// state is what has been done: bits of suspects that are left, of openings, and of tests that were
// done with an uncertain result, positive or not.
type state struct {
	left     uint64
	opened   uint64
	done     uint64
	positive uint64
}

func (s state) suspects(c int) bool { return s.left&(1<<c) != 0 }
func (s state) isOpen(o int) bool   { return s.opened&(1<<o) != 0 }

// position is a state and how many actions are looked ahead from it.
type position struct {
	state
	depth int
}

// bounds enclose the least expected minutes, times the weight of the belief.
type bounds struct{ low, high float64 }

func (b bounds) exact() bool { return b.high-b.low <= 1e-12*(1+b.high) }

// nest prepares the lists of what lies where.
func (p *planner) nest() {
	p.behind = make([][]int, len(p.openings)+1)
	p.inside = make([][]int, len(p.openings)+1)
	for c, r := range p.repairs {
		p.behind[r.behind+1] = append(p.behind[r.behind+1], c)
	}
	for o, a := range p.openings {
		p.inside[a.behind+1] = append(p.inside[a.behind+1], o)
	}
}

// closed is the opening if it is still closed, else -1.
func (p *planner) closed(opening int, s state) int {
	if opening < 0 || s.isOpen(opening) {
		return -1
	}
	return opening
}

// openCost is what it takes to open up to and including the opening.
func (p *planner) openCost(opening int, s state) float64 {
	minutes := 0.0
	for o := p.closed(opening, s); o >= 0; o = p.closed(p.openings[o].behind, s) {
		minutes += p.openings[o].minutes
	}
	return minutes
}

// open marks an opening and what it lies in as open.
func (p *planner) open(s state, opening int) state {
	for ; opening >= 0; opening = p.openings[opening].behind {
		s.opened |= 1 << opening
	}
	return s
}

// perfect is what would be needed if the fault were known: no way can cost less.
func (p *planner) perfect(belief []float64, s state) float64 {
	cost := 0.0
	for left := s.left; left != 0; left &= left - 1 {
		c := bits.TrailingZeros64(left)
		minutes := p.repairs[c].minutes + p.openCost(p.repairs[c].behind, s)
		if p.handOver > 0 {
			minutes = min(minutes, p.handOver)
		}
		cost += belief[c] * minutes
	}
	return cost
}

// judge encloses the least expected minutes without looking ahead: it is at most that of repairing
// in the best order, and at least that of knowing the fault.
func (p *planner) judge(belief []float64, s state) bounds {
	p.looks--
	return bounds{p.perfect(belief, s), p.repairOnly(belief, s)}
}

// look encloses the least expected minutes from a state, looking the given number of actions
// ahead.
func (p *planner) look(belief []float64, s state, depth int) bounds {
	b := p.judge(belief, s)
	if depth == 0 || b.exact() || bits.OnesCount64(s.left) < 2 {
		return b
	}
	at := position{s, depth}
	if known, yes := p.seen[at]; yes {
		return known
	}
	low := b.high
	p.actions(belief, s, depth, &b.high, func(_ candidate, c bounds) {
		b.high = min(b.high, c.high)
		low = min(low, c.low)
	})
	if p.looks <= 0 {
		return b // some actions were not looked at, so that nothing is known of the least
	}
	b.low = max(b.low, min(low, b.high))
	p.seen[at] = b
	return b
}

// candidate is a first action.
type candidate struct {
	kind  ActionKind
	index int
}

// actions offers every repair and every test that can tell the suspects apart, with its bounds
// when it comes first, as long as looks last. What cannot be better than the best way known is
// left out.
func (p *planner) actions(belief []float64, s state, depth int, best *float64, offer func(candidate, bounds)) {
	total := weight(belief, s)
	for left := s.left; left != 0 && p.looks > 0; left &= left - 1 {
		c := bits.TrailingZeros64(left)
		now := (p.repairs[c].minutes + p.openCost(p.repairs[c].behind, s)) * total
		next := p.afterRepair(s, c)
		if now+p.perfect(belief, next) < *best {
			rest := p.look(belief, next, depth-1)
			offer(candidate{ActRepair, c}, bounds{now + rest.low, now + rest.high})
		}
	}
	for t := range p.tests {
		if p.looks <= 0 {
			return
		}
		if s.done&(1<<t) == 0 && p.informative(t, belief, s) {
			p.try(t, belief, s, depth, total, best, offer)
		}
	}
}

// try offers a test unless even knowing the fault after it would cost more than the best way.
func (p *planner) try(test int, belief []float64, s state, depth int, total float64, best *float64, offer func(candidate, bounds)) {
	now := (p.tests[test].minutes + p.openCost(p.tests[test].behind, s)) * total
	var next [2]state
	for len(p.beliefs) <= depth {
		p.beliefs = append(p.beliefs, [2][]float64{make([]float64, len(belief)), make([]float64, len(belief))})
	}
	after := p.beliefs[depth]
	low := now
	for result := range next {
		next[result] = p.afterTest(belief, s, test, result == 1, after[result])
		low += p.perfect(after[result], next[result])
	}
	if low >= *best {
		return
	}
	b := bounds{now, now}
	for result := range next {
		rest := p.look(after[result], next[result], depth-1)
		b.low += rest.low
		b.high += rest.high
	}
	offer(candidate{ActTest, test}, b)
}

func weight(belief []float64, s state) float64 {
	total := 0.0
	for c, w := range belief {
		if s.suspects(c) {
			total += w
		}
	}
	return total
}

// informative reports whether the result depends on which suspect it is.
func (p *planner) informative(test int, belief []float64, s state) bool {
	first := -1.0
	for left := s.left; left != 0; left &= left - 1 {
		c := bits.TrailingZeros64(left)
		if belief[c] == 0 {
			continue
		}
		if first < 0 {
			first = p.tests[test].positive[c]
		} else if p.tests[test].positive[c] != first {
			return true
		}
	}
	return false
}

func (p *planner) afterRepair(s state, c int) state {
	s = p.open(s, p.repairs[c].behind)
	s.left &^= 1 << c
	return s
}

// afterTest weighs the suspects by the result, into after. Suspects that it rules out are dropped;
// an uncertain test is remembered, because the weights then depend on it.
func (p *planner) afterTest(belief []float64, s state, test int, positive bool, after []float64) state {
	s = p.open(s, p.tests[test].behind)
	for left := s.left; left != 0; left &= left - 1 {
		c := bits.TrailingZeros64(left)
		likelihood := p.tests[test].positive[c]
		if !positive {
			likelihood = 1 - likelihood
		}
		after[c] = belief[c] * likelihood
		if after[c] == 0 {
			s.left &^= 1 << c
		}
	}
	if !p.tests[test].certain {
		s.done |= 1 << test
		if positive {
			s.positive |= 1 << test
		}
	}
	return s
}
