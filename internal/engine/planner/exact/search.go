package exact

import "ramprow/internal/engine/planner/rcpsp"

// Options of a proof.
type Options struct {
	// Starts of a schedule that is there already; nil: none.
	Starts []int
	// Conflicts bounds the dead ends; zero: only Stop ends the search.
	Conflicts int
	// Clauses bounds the proof that is kept; zero: none is.
	Clauses int
	// Stop is asked now and then; nil: never.
	Stop func() bool
}

// Result is the shortest schedule found, and what cannot be undercut.
type Result struct {
	// Starts is nil if there was none to begin with and none was found.
	Starts   []int
	Makespan int
	// Bound is the largest makespan that is proved to be needed.
	Bound     int
	Conflicts int
	// Proof is why Makespan cannot be undercut; nil if that is not proved, or the proof
	// was not to be kept or too long.
	Proof *Proof
}

// Proved tells whether nothing shorter exists.
func (r Result) Proved() bool { return r.Starts != nil && r.Makespan == r.Bound }

// How long the search stays with one set of guesses, and with each bound on the way up.
const (
	restartUnit  = 100
	climbUnit    = 300
	guided       = 4 // of so many restarts all but one are guided by the best schedule
	forgetAfter  = 4000
	forgetGrowth = 500
	askEvery     = 16
)

// Prove searches for a schedule shorter than the one that is there, and for the
// proof that there is none. The project must be one that rcpsp.Solve accepts.
func Prove(p rcpsp.Project, o Options) (Result, error) {
	r := Result{Starts: o.Starts}
	for a, start := range o.Starts {
		r.Makespan = max(r.Makespan, start+p.Durations[a])
	}
	horizon := r.Makespan - 1
	if o.Starts == nil {
		horizon = 0
		for _, d := range p.Durations {
			horizon += d
		}
	}
	if horizon < 0 {
		return r, nil // nothing to do takes no time
	}
	m, err := newModel(p, horizon)
	if err != nil {
		return r, err
	}
	q := &quest{solver: newSolver(m), options: o, result: r}
	if o.Clauses > 0 {
		q.proof, q.proofRoom = &Proof{}, o.Clauses
	}
	q.run()
	q.result.Conflicts = q.solver.conflicts
	if q.proof != nil && q.result.Proved() {
		q.proof.Makespan = q.result.Makespan
		q.result.Proof = q.proof
	}
	return q.result, nil
}

// quest is one proof under way.
type quest struct {
	*solver
	options Options
	result  Result
}

type answer int

const (
	unknown answer = iota
	found
	refuted    // there is none under the assumption
	impossible // there is none at all
)

// run first climbs from below while that is cheap, then tries to beat the best
// schedule until there is none better.
func (q *quest) run() {
	if !q.start() {
		q.result.Bound = q.result.Makespan
		return
	}
	q.climb()
	for (q.result.Starts == nil || q.result.Bound < q.result.Makespan) && !q.over(0, 0) {
		switch q.look(none, 0) {
		case unknown:
			return
		case refuted, impossible:
			q.result.Bound = q.result.Makespan
			return
		case found:
			q.keepSchedule()
			q.back(0)
			if !q.raise(literal{2*q.end + 1, int32(1 - q.result.Makespan)}, reason{kind: stored}) { //nolint:gosec // small
				q.result.Bound = q.result.Makespan
				return
			}
		}
	}
}

// start propagates what holds from the outset: every side's first bound has to be
// looked at once.
func (q *quest) start() bool {
	for side := range q.low {
		t := step{side: int32(side), old: q.low[side], bound: q.low[side], before: -1}
		if !q.follow(t) {
			return false
		}
	}
	if !q.propagate() {
		return false
	}
	q.settle()
	q.result.Bound = int(q.low[2*q.end])
	return true
}

// climb tries ends from below, each for a while.
func (q *quest) climb() {
	for q.result.Starts == nil || q.result.Bound < q.result.Makespan-1 {
		end := literal{2*q.end + 1, int32(-q.result.Bound)} //nolint:gosec // small
		switch q.look(end, climbUnit) {
		case unknown:
			q.back(0)
			return
		case found:
			q.keepSchedule()
			q.back(0)
			return
		case refuted:
			q.back(0)
			q.result.Bound++
		case impossible:
			// Nothing may be asked any more: the last conflict left things half propagated.
			q.result.Bound = q.result.Makespan
			return
		}
	}
}

// keepSchedule takes the schedule that the starts now say.
func (q *quest) keepSchedule() {
	starts := make([]int, q.activities)
	q.result.Makespan = 0
	for a := range starts {
		starts[a] = int(q.low[2*a])
		q.result.Makespan = max(q.result.Makespan, starts[a]+int(q.durations[a]))
	}
	q.result.Starts = starts
}

// look searches under an assumption, for so many conflicts; zero: without end.
func (q *quest) look(assumed literal, most int) answer {
	began, restarts := q.conflicts, 1
	left := restartUnit * luby(restarts)
	for {
		if !q.propagate() {
			q.conflicts++
			left--
			if q.level() == 0 || !q.learn(q.analyse()) {
				return impossible
			}
			q.fade()
			if q.over(most, began) {
				return unknown
			}
			continue
		}
		if left <= 0 {
			restarts++
			left = restartUnit * luby(restarts)
			q.back(0)
		}
		if q.level() == 0 {
			q.tidy()
			if assumed != none && q.fails(assumed) {
				return refuted
			}
		}
		next := assumed
		if assumed == none || q.level() > 0 {
			next = q.next(restarts)
		}
		if next == none {
			return found
		}
		q.guess(next)
	}
}

// tidy makes what is certain so, and forgets what was of little use.
func (q *quest) tidy() {
	q.settle()
	if len(q.clauses) > forgetAfter+forgetGrowth*q.forgot {
		q.forgot++
		q.forget()
	}
}

func (q *quest) over(most, began int) bool {
	return most > 0 && q.conflicts-began >= most || q.options.Conflicts > 0 && q.conflicts >= q.options.Conflicts ||
		q.conflicts%askEvery == 0 && q.options.Stop != nil && q.options.Stop()
}

// next chooses a guess: what conflicts were about, else the activity that can
// start first starts; none: everything is decided.
func (q *quest) next(restarts int) literal {
	if restarts > 1 {
		for v := q.order.pop(); v >= 0; v = q.order.pop() {
			l := q.literalOf(v)
			if q.holds(l) || q.fails(l) {
				continue
			}
			if q.upward(v, restarts) {
				return l
			}
			return l.not()
		}
	}
	best := int32(-1)
	for a := range q.activities {
		if q.low[2*a] == q.high(2*a) {
			continue
		}
		if best < 0 || q.low[2*a] < q.low[2*best] || q.low[2*a] == q.low[2*best] && q.high(2*a) < q.high(2*best) {
			best = a
		}
	}
	if best < 0 {
		return none
	}
	return literal{2*best + 1, -q.low[2*best]}
}

// upward tells on which side of a value to guess: where the best schedule is, or,
// every other time, where the search last was.
func (q *quest) upward(v int32, restarts int) bool {
	if q.result.Starts == nil || restarts%guided == 0 {
		return q.saved[v]
	}
	side := q.sideOf[v]
	bound := v - q.first[side]
	switch variable := side >> 1; {
	case variable < q.activities:
		return int32(q.result.Starts[variable]) >= bound //nolint:gosec // small
	case variable == q.end:
		return false
	default:
		p := q.pairs[variable-q.end-1]
		return q.result.Starts[p.first] < q.result.Starts[p.second]
	}
}

// luby is the sequence 1 1 2 1 1 2 4 1 … after which to start anew (Luby,
// Sinclair, Zuckerman, 1993).
func luby(i int) int {
	for k := 1; ; k++ {
		if i == 1<<k-1 {
			return 1 << (k - 1)
		}
		if i < 1<<k-1 {
			return luby(i - 1<<(k-1) + 1)
		}
	}
}
