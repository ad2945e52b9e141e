package diagnosis

import "math/bits"

// planner looks ahead under the assumption that exactly one cause is present. It is the single-
// fault view of an Engine and some evidence.
type planner struct {
	repairs  []access
	tests    []probe
	openings []access
	handOver float64
	// seen holds the best bounds known for states, by how deep they were looked into.
	seen  map[position]bounds
	nodes int
}

// access is what an action costs and where it lies: behind, or for an opening inside, an opening;
// -1 outside.
type access struct {
	minutes float64
	behind  int
	inside  int
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

// position is a state and how many actions were looked ahead from it.
type position struct {
	state
	depth int
}

// bounds enclose the least expected minutes times the weight of the belief.
type bounds struct{ low, high float64 }

func (b bounds) exact() bool { return b.high-b.low <= 1e-12*(1+b.high) }

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
	for o := p.closed(opening, s); o >= 0; o = p.closed(p.openings[o].inside, s) {
		minutes += p.openings[o].minutes
	}
	return minutes
}

func (p *planner) open(s state, opening int) state {
	for o := p.closed(opening, s); o >= 0; o = p.closed(p.openings[o].inside, s) {
		s.opened |= 1 << o
	}
	return s
}

// perfect is what would be needed if the fault were known: no way can cost less.
func (p *planner) perfect(belief []float64, s state) float64 {
	cost := 0.0
	for c, w := range belief {
		if !s.suspects(c) {
			continue
		}
		minutes := p.repairs[c].minutes + p.openCost(p.repairs[c].behind, s)
		if p.handOver > 0 {
			minutes = min(minutes, p.handOver)
		}
		cost += w * minutes
	}
	return cost
}

// look encloses the least expected minutes from a state, looking the given number of actions
// ahead. At the horizon the least is at most that of repairing in the best order, and at least
// that of knowing the fault.
func (p *planner) look(belief []float64, s state, depth int) bounds {
	b := bounds{p.perfect(belief, s), p.repairOnly(belief, s)}
	if depth == 0 || b.exact() || bits.OnesCount64(s.left) < 2 {
		return b
	}
	at := position{s, depth}
	if known, yes := p.seen[at]; yes {
		return known
	}
	if p.nodes <= 0 {
		return b
	}
	p.nodes--
	low := b.high
	p.actions(belief, s, depth, b, func(_ candidate, c bounds) {
		b.high = min(b.high, c.high)
		low = min(low, c.low)
	})
	b.low = max(b.low, min(low, b.high))
	if p.nodes > 0 {
		p.seen[at] = b
	}
	return b
}

// candidate is a first action.
type candidate struct {
	kind  ActionKind
	index int
}

// actions offers every repair and every test that can tell the suspects apart, with its bounds,
// when it comes first. Those that cannot be better than what is known are left out, unless the
// known bounds are unbounded.
func (p *planner) actions(belief []float64, s state, depth int, known bounds, offer func(candidate, bounds)) {
	total := weight(belief, s)
	for c := range p.repairs {
		if s.suspects(c) {
			now := (p.repairs[c].minutes + p.openCost(p.repairs[c].behind, s)) * total
			if now < known.high {
				rest := p.look(belief, p.afterRepair(s, c), depth-1)
				offer(candidate{ActRepair, c}, bounds{now + rest.low, now + rest.high})
			}
		}
	}
	for t := range p.tests {
		if s.done&(1<<t) != 0 || !p.informative(t, belief, s) {
			continue
		}
		now := (p.tests[t].minutes + p.openCost(p.tests[t].behind, s)) * total
		if now+known.low >= known.high {
			continue
		}
		b := bounds{now, now}
		for _, positive := range []bool{true, false} {
			after, next := p.afterTest(belief, s, t, positive)
			rest := p.look(after, next, depth-1)
			b.low += rest.low
			b.high += rest.high
		}
		offer(candidate{ActTest, t}, b)
	}
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
	for c, w := range belief {
		if !s.suspects(c) || w == 0 {
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

// afterTest weighs the suspects by the result. Suspects that it rules out are dropped; an
// uncertain test is remembered, because the weights then depend on it.
func (p *planner) afterTest(belief []float64, s state, test int, positive bool) ([]float64, state) {
	s = p.open(s, p.tests[test].behind)
	after := make([]float64, len(belief))
	for c, w := range belief {
		if !s.suspects(c) {
			continue
		}
		if positive {
			after[c] = w * p.tests[test].positive[c]
		} else {
			after[c] = w * (1 - p.tests[test].positive[c])
		}
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
	return after, s
}
