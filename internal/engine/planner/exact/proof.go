package exact

// Proof is why no schedule ends before a makespan: clauses each of which follows
// from the project, the end, and the clauses before it by nothing but looking at
// what is left of every start. After the last one nothing is left at all.
type Proof struct {
	// Makespan is the one that cannot be undercut.
	Makespan int
	Clauses  [][]Literal
}

// Literal is one alternative of a clause.
type Literal struct {
	// Activity is the one it is about; the number of activities: the project's end.
	Activity int
	// Before, if above zero, is one more than the activity that Activity is finished
	// before; the rest then means nothing.
	Before int
	// AtLeast: it starts no earlier than Time; otherwise no later.
	AtLeast bool
	Time    int
}

// write notes a clause for the proof; one that is too long is given up.
func (s *solver) write(literals []literal) {
	if s.proof == nil {
		return
	}
	if len(s.proof.Clauses) == s.proofRoom {
		s.proof = nil
		return
	}
	clause := make([]Literal, len(literals))
	for i, l := range literals {
		clause[i] = s.spell(l)
	}
	s.proof.Clauses = append(s.proof.Clauses, clause)
}

func (s *solver) spell(l literal) Literal {
	v := l.side >> 1
	if v > s.end {
		p := s.pairs[v-s.end-1]
		if l.side&1 == 0 {
			return Literal{Activity: int(p.first), Before: int(p.second) + 1}
		}
		return Literal{Activity: int(p.second), Before: int(p.first) + 1}
	}
	if l.side&1 == 0 {
		return Literal{Activity: int(v), AtLeast: true, Time: int(l.bound)}
	}
	return Literal{Activity: int(v), Time: int(-l.bound)}
}
