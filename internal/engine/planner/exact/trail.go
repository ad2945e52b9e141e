package exact

import "math"

// step is one raised bound, and why it was raised.
type step struct {
	side, old, bound int32
	before           int32 // the step before it on the same side, or -1
	why              reason
}

// reason is what a step follows from; the meaning of the numbers goes by the kind.
type reason struct {
	kind kind
	at   int32
	more int32
}

type kind int8

const (
	guessed  kind = iota // a decision: follows from nothing
	byClause             // at: the clause
	byArc                // at, more: where the side's arc begins in the model
	byPair               // at: the conditional arc
	stored               // at, more: literals kept beside the trail
)

// solver is one search.
type solver struct {
	*model
	low    []int32 // of each side, now
	base   []int32 // of each side, whatever is guessed
	last   []int32 // the newest step of each side, or -1
	trail  []step
	levels []mark // where each guess begins
	head   int    // steps before it are propagated
	kept   []literal

	clauses []clause
	watches [][]watch // by first[side] + bound: who watches for the side to get there
	first   []int32

	dirty    []bool // resources with a changed profile
	profile  []int32
	conflict []literal // literals that hold and cannot hold together

	set   conflictSet
	order activityHeap
	saved []bool // of each value: whether it was last reached from below
	// sideOf gives the side that a value belongs to.
	sideOf []int32

	proof     *Proof // nil: it is not kept
	proofRoom int

	conflicts int
	forgot    int // how often clauses were dropped
	growth    float64
}

type mark struct{ trail, kept int32 }

func newSolver(m *model) *solver {
	s := &solver{
		model: m, low: append([]int32(nil), m.least...), base: append([]int32(nil), m.least...),
		last: make([]int32, 2*m.variables), dirty: make([]bool, len(m.resources)), growth: 1,
	}
	for i := range s.last {
		s.last[i] = -1
	}
	s.first = make([]int32, 2*m.variables)
	var values int32
	for side := range s.first {
		s.first[side] = values - s.low[side]
		values += -s.low[side^1] - s.low[side] + 1
	}
	s.watches = make([][]watch, values)
	s.profile = make([]int32, -m.least[2*m.end+1]+2)
	for r := range s.dirty {
		s.dirty[r] = true
	}
	s.set = newConflictSet(2 * m.variables)
	s.order = newActivityHeap(int(values))
	s.saved = make([]bool, values)
	s.sideOf = make([]int32, values)
	for side := range s.first {
		for b := s.low[side]; b <= -s.low[side^1]; b++ {
			s.sideOf[s.first[side]+b] = int32(side)
		}
	}
	return s
}

func (s *solver) level() int            { return len(s.levels) }
func (s *solver) high(side int32) int32 { return -s.low[side^1] }
func (s *solver) holds(l literal) bool  { return s.low[l.side] >= l.bound }
func (s *solver) fails(l literal) bool  { return s.high(l.side) < l.bound }

// value numbers what a literal is about; a literal and its opposite are about the
// same. It is the place among the values of the variable itself.
func (s *solver) value(l literal) int32 {
	if l.side&1 == 1 {
		l = l.not()
	}
	return s.first[l.side] + l.bound
}

// raise makes a literal hold. It tells whether that is possible; if not, the
// conflict says why.
func (s *solver) raise(l literal, why reason) bool {
	if s.holds(l) {
		return true
	}
	if s.fails(l) {
		s.conflict = append(s.conflict[:0], l.not())
		s.conflict = s.explain(s.conflict, l, why)
		return false
	}
	s.trail = append(s.trail, step{l.side, s.low[l.side], l.bound, s.last[l.side], why})
	s.last[l.side] = int32(len(s.trail) - 1) //nolint:gosec // memory ends before
	s.low[l.side] = l.bound
	if v := l.side >> 1; v < s.activities {
		for _, r := range s.resourceOf[v] {
			s.dirty[r] = true
		}
	}
	return true
}

// explain adds the literals that a literal follows from.
func (s *solver) explain(out []literal, l literal, why reason) []literal {
	switch why.kind {
	case byClause:
		for _, other := range s.clauses[why.at].literals {
			if other.side != l.side {
				out = append(out, other.not())
			}
		}
	case byArc:
		out = append(out, literal{why.at, l.bound - why.more})
	case byPair:
		a := s.given[why.at]
		out = append(out, a.when, literal{a.from, l.bound - a.distance})
	case stored:
		out = append(out, s.kept[why.at:why.at+why.more]...)
	case guessed:
	}
	return out
}

// keep stores literals beside the trail as a reason.
func (s *solver) keep(literals ...literal) reason {
	at := int32(len(s.kept)) //nolint:gosec // memory ends before
	for _, l := range literals {
		if l.bound > s.base[l.side] {
			s.kept = append(s.kept, l)
		}
	}
	return reason{stored, at, int32(len(s.kept)) - at} //nolint:gosec // memory ends before
}

// guess makes a literal hold for the time being.
func (s *solver) guess(l literal) {
	s.levels = append(s.levels, mark{int32(len(s.trail)), int32(len(s.kept))}) //nolint:gosec // memory ends before
	s.raise(l, reason{kind: guessed})
}

// back undoes every guess above a level.
func (s *solver) back(level int) {
	if level >= len(s.levels) {
		return
	}
	to := s.levels[level]
	for i := len(s.trail) - 1; i >= int(to.trail); i-- {
		t := &s.trail[i]
		s.low[t.side], s.last[t.side] = t.old, t.before
		s.release(t)
		if v := t.side >> 1; v < s.activities {
			for _, r := range s.resourceOf[v] {
				s.dirty[r] = true
			}
		}
	}
	s.trail, s.kept, s.levels = s.trail[:to.trail], s.kept[:to.kept], s.levels[:level]
	s.head = len(s.trail)
}

// release makes the values that a step had decided available for guessing again.
func (s *solver) release(t *step) {
	for b := t.old + 1; b <= t.bound; b++ {
		v := s.value(literal{t.side, b})
		s.saved[v] = t.side&1 == 0
		s.order.restore(v)
	}
}

// settle takes what holds without a guess for granted.
func (s *solver) settle() {
	for _, t := range s.trail {
		s.last[t.side] = -1
	}
	copy(s.base, s.low)
	s.trail, s.kept, s.head = s.trail[:0], s.kept[:0], 0
}

// where gives the step that made a literal hold.
func (s *solver) where(l literal) int32 {
	i := s.last[l.side]
	for s.trail[i].old >= l.bound {
		i = s.trail[i].before
	}
	return i
}

// levelOf is the number of guesses up to a step.
func (s *solver) levelOf(at int32) int {
	lo, hi := 0, len(s.levels)
	for lo < hi {
		if mid := (lo + hi) / 2; s.levels[mid].trail <= at {
			lo = mid + 1
		} else {
			hi = mid
		}
	}
	return lo
}

const farAway = math.MaxInt32 / 4
