package workshop

import (
	"math"
	"slices"
)

// Exact searches through all plans, as far as so many nodes reach. If they do, the
// plan is the best there is; otherwise it is the best found, with a bound. It begins
// with what Solve finds. Meant for a handful of jobs on a coarse grid.
func Exact(p Problem, o Options, nodes int) (Plan, error) {
	s, err := newShop(p)
	if err != nil {
		return Plan{}, err
	}
	e := &exact{b: newBoard(s), nodes: nodes, bound: make([]int64, len(s.jobs)+1)}
	e.keep(s.search(o))
	bound := max(s.bound(), e.apart())
	if bound < e.bestCost {
		e.job(0, 0, 0)
	}
	plan := s.plan(s.boardOf(e.best))
	plan.Bound, plan.Optimal = bound, e.nodes > 0 || bound >= e.bestCost
	if plan.Optimal {
		plan.Bound = e.bestCost
	}
	return plan, nil
}

// exact is a search through everything, job after job, operation after operation,
// person after person, tick after tick.
type exact struct {
	b *board
	// nodes are left; none: the search was given up.
	nodes int
	// bound[i] is the least that the jobs from i on cost, each as if alone.
	bound    []int64
	best     []*placed
	bestCost int64
}

func (e *exact) keep(b *board) { e.best, e.bestCost = slices.Clone(b.at), b.total() }

// apart finds the least cost of every job as if it were alone, with a part of the
// nodes each, and the bound that they give together.
func (e *exact) apart() int64 {
	s := e.b.s
	last := 0
	for job := len(s.jobs) - 1; job >= 0; job-- {
		alone := &exact{b: newBoard(s), nodes: max(1, e.nodes/(4*len(s.jobs))), bestCost: unplaced}
		alone.one(job, func(p *placed) {
			alone.bestCost = min(alone.bestCost, p.cost)
		}, func(_, atLeast int) int64 { return int64(atLeast) })
		if alone.nodes <= 0 { // given up: nothing is known but that it may cost nothing
			alone.bestCost = 0
		}
		e.bound[job] = e.bound[job+1] + alone.bestCost
		for w := range s.jobs[job].ways {
			if end, ok := s.aloneEnd(&s.jobs[job], w, 0); ok && len(s.jobs[job].ways) == 1 && alone.bestCost < unplaced {
				last = max(last, end)
			}
		}
	}
	return e.bound[0] + weightMakespan*int64(last)
}

// job tries everything for the jobs from this one on.
func (e *exact) job(job int, cost int64, last int) {
	s := e.b.s
	if job == len(s.jobs) {
		if total := cost + weightMakespan*int64(last); total < e.bestCost {
			e.keep(e.b)
		}
		return
	}
	tooDear := func(least int64, close int) bool {
		return cost+least+e.bound[job+1]+weightMakespan*int64(max(last, close)) >= e.bestCost
	}
	e.one(job, func(p *placed) {
		if !tooDear(p.cost, p.close) {
			e.b.put(job, p)
			e.job(job+1, cost+p.cost, max(last, p.close))
			e.b.take(job)
		}
	}, func(close, atLeast int) int64 {
		if tooDear(int64(atLeast), close) {
			return math.MaxInt64
		}
		return int64(atLeast)
	})
	if !tooDear(unplaced, 0) {
		e.job(job+1, cost+unplaced, last)
	}
}

// one tries every place of a job and gives each whole one to found. judge says what a
// partial one costs at least, from its earliest close and its cost so far; a cost
// beyond the best leaves it.
func (e *exact) one(job int, found func(*placed), judge func(close, atLeast int) int64) {
	j := &e.b.s.jobs[job]
	for w := range j.ways {
		if j.opened && w != j.openWay {
			continue
		}
		for i, bay := range j.bays {
			if slices.ContainsFunc(j.bays[:i], func(other int) bool { return e.b.identical(other, bay) }) {
				continue
			}
			p := &placed{way: w, bay: bay, open: math.MaxInt, ops: make([]spot, len(j.ways[w].ops))}
			if j.opened {
				p.open = j.since
			}
			t := &trial{exact: e, job: job, p: p, found: found, judge: judge}
			t.operation(0)
		}
	}
}

// trial is one job with a way and a bay, whose operations are being laid out.
type trial struct {
	*exact
	job   int
	p     *placed
	laid  []int
	found func(*placed)
	judge func(close, atLeast int) int64
}

func (t *trial) operation(n int) {
	s, j := t.b.s, &t.b.s.jobs[t.job]
	way := &j.ways[t.p.way]
	if n == len(way.order) {
		t.whole()
		return
	}
	k := way.order[n]
	o := &way.ops[k]
	from, until := j.release, s.horizon
	if j.opened {
		from = 0
	}
	for _, l := range way.in[k] {
		from = max(from, t.p.ops[l.op].end+l.least)
		until = min(until, t.p.ops[l.op].end+l.most)
	}
	if o.started != nil {
		if at, ok := t.b.soonest(o, t.p, t.laid, 0, s.horizon); ok {
			t.lay(n, k, at)
		}
		return
	}
	if o.pin != none {
		from, until = max(from, o.pin), min(until, o.pin)
	}
	for i := range o.modes {
		m := &o.modes[i]
		for start := from; start <= until && t.nodes > 0; start++ {
			when, ok := t.b.fit(o, m, t.p, t.laid, start, min(s.horizon-way.tail[k], m.expires))
			if !ok || when.start > until {
				break
			}
			start = when.start
			if j.late(when.end+way.tail[k]) >= t.bestCost {
				break // later is dearer still
			}
			t.lay(n, k, spot{when, m.person, m.tools})
		}
	}
}

// lay puts one operation down, goes on, and takes it up again.
func (t *trial) lay(n, k int, at spot) {
	t.nodes--
	j := &t.b.s.jobs[t.job]
	way := &j.ways[t.p.way]
	open, close := t.p.open, t.p.close
	t.p.ops[k] = at
	t.p.open, t.p.close = min(open, at.start), max(close, at.end)
	t.laid = append(t.laid, k)
	end := max(t.p.close, at.end+way.tail[k])
	least := j.late(end) + way.dead(end-t.p.open)
	if t.held() && t.judge(end, int(least)) < t.bestCost {
		t.operation(n + 1)
	}
	t.laid = t.laid[:len(t.laid)-1]
	t.p.open, t.p.close = open, close
}

// held tells whether the bay is free for what is held so far.
func (t *trial) held() bool {
	held := span{t.p.open, t.p.close}
	if t.b.s.jobs[t.job].opened {
		return true
	}
	_, taken := clash(t.b.bays[t.p.bay], held)
	return !taken && !slices.ContainsFunc(t.b.s.bays[t.p.bay].blocks, held.overlaps)
}

func (t *trial) whole() {
	j := &t.b.s.jobs[t.job]
	if j.pin != none && !j.opened && t.p.open != j.pin {
		return
	}
	whole := *t.p
	whole.ops = slices.Clone(t.p.ops)
	whole.cost = t.b.s.costOf(t.job, &whole)
	t.found(&whole)
}
