package exact

// clause is literals of which one must hold.
type clause struct {
	literals []literal
	levels   int32 // how many guesses it joined when it was learnt
	activity float32
}

type watch struct {
	clause int32
	// other is a literal of the clause: if it holds, there is no need to look.
	other literal
}

// propagate raises all that follows; false: a conflict.
func (s *solver) propagate() bool {
	for {
		for s.head < len(s.trail) {
			t := s.trail[s.head]
			s.head++
			if !s.follow(t) || !s.wake(t) {
				return false
			}
		}
		done := true
		for r := range s.resources {
			if s.dirty[r] {
				s.dirty[r] = false
				before := len(s.trail)
				if !s.timetable(&s.resources[r]) {
					s.dirty[r] = true
					return false
				}
				if len(s.trail) > before {
					done = false
					break
				}
			}
		}
		if done {
			return true
		}
	}
}

// follow applies what the project itself says about a raised side.
func (s *solver) follow(t step) bool {
	for _, a := range s.arcs[t.side] {
		if !s.raise(literal{a.to, t.bound + a.distance}, reason{byArc, a.from, a.distance}) {
			return false
		}
	}
	v := t.side >> 1
	if v < s.activities {
		for _, i := range s.pairsOf[v] {
			if !s.decidePair(i) {
				return false
			}
		}
		return true
	}
	if v > s.end {
		return s.decidePair(v - s.end - 1)
	}
	return true
}

// decidePair orders two activities if only one order is left, and applies it.
func (s *solver) decidePair(i int32) bool {
	p := s.pairs[i]
	first, second := literal{2 * p.variable, 1}, literal{2*p.variable + 1, 0}
	if !s.holds(first) && !s.holds(second) {
		switch {
		case s.tooLate(p.first, p.second):
			if !s.raise(second, s.whyTooLate(p.first, p.second)) {
				return false
			}
		case s.tooLate(p.second, p.first):
			if !s.raise(first, s.whyTooLate(p.second, p.first)) {
				return false
			}
		default:
			return true
		}
	}
	at := 4 * i
	if s.holds(second) {
		at += 2
	}
	for j := at; j < at+2; j++ {
		a := &s.given[j]
		if !s.raise(literal{a.to, s.low[a.from] + a.distance}, reason{kind: byPair, at: j}) {
			return false
		}
	}
	return true
}

// tooLate tells whether a cannot come before b any more.
func (s *solver) tooLate(a, b int32) bool {
	return s.low[2*a]+s.durations[a] > s.high(2*b)
}

func (s *solver) whyTooLate(a, b int32) reason {
	// Any bound between would do; in the middle neither side is asked for more than needed.
	latest := s.high(2 * b)
	earliest := latest - s.durations[a] + 1
	return s.keep(literal{2 * a, earliest}, literal{2*b + 1, -latest})
}

// wake looks at the clauses that watch for the side to get where it now is.
func (s *solver) wake(t step) bool {
	for b := t.old + 1; b <= t.bound; b++ {
		at := s.first[t.side] + b
		list := s.watches[at]
		if len(list) == 0 {
			continue
		}
		failed := literal{t.side, b}.not()
		stay := 0
		for i := 0; i < len(list); i++ {
			w := list[i]
			if s.holds(w.other) {
				list[stay] = w
				stay++
				continue
			}
			moved, ok := s.review(w.clause, failed)
			if !moved {
				list[stay] = watch{w.clause, s.clauses[w.clause].literals[0]}
				stay++
			}
			if !ok {
				stay += copy(list[stay:], list[i+1:])
				s.watches[at] = list[:stay]
				return false
			}
		}
		s.watches[at] = list[:stay]
	}
	return true
}

// review finds another literal to watch, or applies the clause. It tells whether
// the watch has moved, and whether there is no conflict.
func (s *solver) review(c int32, failed literal) (moved, ok bool) {
	l := s.clauses[c].literals
	if l[0] == failed {
		l[0], l[1] = l[1], l[0]
	}
	if s.holds(l[0]) {
		return false, true
	}
	for k := 2; k < len(l); k++ {
		if !s.fails(l[k]) {
			l[1], l[k] = l[k], l[1]
			s.watch(l[1], c, l[0])
			return true, true
		}
	}
	return false, s.raise(l[0], reason{kind: byClause, at: c})
}

// watch asks to be woken when a literal fails.
func (s *solver) watch(l literal, c int32, other literal) {
	n := l.not()
	at := s.first[n.side] + n.bound
	s.watches[at] = append(s.watches[at], watch{c, other})
}
