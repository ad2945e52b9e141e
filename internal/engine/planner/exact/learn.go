package exact

import "slices"

// conflictSet is the strongest bound that is asked of each side while a conflict
// is traced back.
type conflictSet struct {
	asked []int32
	at    []int32 // the step that made it hold
	in    []bool
	sides []int32
}

func newConflictSet(sides int32) conflictSet {
	return conflictSet{asked: make([]int32, sides), at: make([]int32, sides), in: make([]bool, sides)}
}

// has tells whether a literal follows from the set or holds anyway.
func (s *solver) has(l literal) bool {
	return l.bound <= s.base[l.side] || s.set.in[l.side] && s.set.asked[l.side] >= l.bound
}

// ask adds a literal and gives how many more literals of the present guess there
// are now.
func (s *solver) ask(l literal) int {
	if s.has(l) {
		return 0
	}
	s.bump(l)
	here := s.levels[len(s.levels)-1].trail
	was := s.set.in[l.side] && s.set.at[l.side] >= here
	if !s.set.in[l.side] {
		s.set.in[l.side] = true
		s.set.sides = append(s.set.sides, l.side)
	}
	s.set.asked[l.side], s.set.at[l.side] = l.bound, s.where(l)
	if !was && s.set.at[l.side] >= here {
		return 1
	}
	return 0
}

// analyse traces a conflict back to a clause of which all but one literal were
// guessed before: the first one is what follows. It gives the level at which it does.
func (s *solver) analyse() (learnt []literal, level int) {
	s.backToConflict()
	open := 0
	for _, l := range s.conflict {
		open += s.ask(l)
	}
	var buffer []literal
	for at := int32(len(s.trail) - 1); ; at-- { //nolint:gosec // memory ends before
		t := &s.trail[at]
		if !s.set.in[t.side] || s.set.at[t.side] != at {
			continue
		}
		asked := literal{t.side, s.set.asked[t.side]}
		if open == 1 {
			learnt = append(learnt, asked.not())
			s.set.in[t.side] = false
			break
		}
		s.set.in[t.side] = false
		open--
		if t.why.kind == byClause {
			s.clauses[t.why.at].activity += float32(s.growth)
		}
		buffer = s.explain(buffer[:0], asked, t.why)
		for _, l := range buffer {
			open += s.ask(l)
		}
	}
	learnt = s.collect(learnt, &buffer)
	return learnt, s.sortByLevel(learnt)
}

// backToConflict undoes guesses that have nothing to do with the conflict.
func (s *solver) backToConflict() {
	newest := int32(0)
	for _, l := range s.conflict {
		if l.bound > s.base[l.side] {
			newest = max(newest, s.where(l))
		}
	}
	s.back(s.levelOf(newest))
}

// collect empties the set into a clause and leaves out what follows from the rest.
func (s *solver) collect(learnt []literal, buffer *[]literal) []literal {
	slices.Sort(s.set.sides) // one that was taken out and asked for again is there twice
	s.set.sides = slices.Compact(s.set.sides)
	for _, side := range s.set.sides {
		if l := (literal{side, s.set.asked[side]}); s.set.in[side] && !s.needless(l, buffer) {
			learnt = append(learnt, l.not())
		}
	}
	for _, side := range s.set.sides {
		s.set.in[side] = false
	}
	s.set.sides = s.set.sides[:0]
	return learnt
}

// needless tells whether a literal of the set follows from others of it that held
// before, so that no two can be left out because of each other.
func (s *solver) needless(l literal, buffer *[]literal) bool {
	t := &s.trail[s.set.at[l.side]]
	if t.why.kind == guessed {
		return false
	}
	*buffer = s.explain((*buffer)[:0], l, t.why)
	for _, other := range *buffer {
		if other.bound > s.base[other.side] && (!s.has(other) || s.set.at[other.side] >= s.set.at[l.side]) {
			return false
		}
	}
	return true
}

// sortByLevel puts the literal that was decided last in second place and gives its level.
func (s *solver) sortByLevel(learnt []literal) int {
	if len(learnt) == 1 {
		return 0
	}
	best := int32(-1)
	for k, l := range learnt[1:] {
		if at := s.where(l.not()); at > best {
			best = at
			learnt[1], learnt[k+1] = learnt[k+1], learnt[1]
		}
	}
	return s.levelOf(best)
}

// learn goes back and adds the clause; false: nothing is possible at all.
func (s *solver) learn(literals []literal, level int) bool {
	s.write(literals)
	joined := s.joins(literals)
	s.back(level)
	if len(literals) == 1 {
		return s.raise(literals[0], reason{kind: stored})
	}
	c := int32(len(s.clauses)) //nolint:gosec // bounded by forget
	s.clauses = append(s.clauses, clause{literals, joined, float32(s.growth)})
	s.watch(literals[0], c, literals[1])
	s.watch(literals[1], c, literals[0])
	return s.raise(literals[0], reason{kind: byClause, at: c})
}

// joins counts the guesses that a clause is about.
func (s *solver) joins(literals []literal) int32 {
	var levels []int
	for _, l := range literals {
		levels = append(levels, s.levelOf(s.where(l.not())))
	}
	slices.Sort(levels)
	return int32(len(slices.Compact(levels))) //nolint:gosec // few
}

// forget drops the clauses that were of little use; only without guesses.
func (s *solver) forget() {
	keep := s.clauses[:0]
	limit := s.middle()
	for _, c := range s.clauses {
		if c.levels <= 3 || c.activity >= limit {
			if !slices.ContainsFunc(c.literals, func(l literal) bool { return l.bound <= s.base[l.side] }) {
				keep = append(keep, c)
			}
		}
	}
	s.clauses = keep
	for i := range s.watches {
		s.watches[i] = s.watches[i][:0]
	}
	for c := range s.clauses {
		s.attach(int32(c))
	}
}

// attach watches two literals that have not failed; at the root there are two, or
// the clause has been applied already.
func (s *solver) attach(c int32) {
	l := s.clauses[c].literals
	free := 0
	for k := range l {
		if !s.fails(l[k]) {
			l[free], l[k] = l[k], l[free]
			if free++; free == 2 {
				break
			}
		}
	}
	s.watch(l[0], c, l[1])
	s.watch(l[1], c, l[0])
}

func (s *solver) middle() float32 {
	var all []float32
	for _, c := range s.clauses {
		if c.levels > 3 {
			all = append(all, c.activity)
		}
	}
	if len(all) == 0 {
		return 0
	}
	slices.Sort(all)
	return all[len(all)/2]
}
