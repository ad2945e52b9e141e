package teardown

import (
	"fmt"
	"slices"
)

// job is one piece of work in the order: an operation or a task.
type job struct {
	operation int
	task      int
}

// ordering puts chosen operations and tasks into an order that respects what blocks what and
// changes states, position and tools as little as it can.
type ordering struct {
	engine *Engine
	tasks  []Task
	now    *standing
	held   *holding
	// pending operations and inspections; repairs wait until everything is open.
	pending  []job
	position string
	tools    []string
}

// order picks, step by step, the job that is ready and costs least to change to. Because opening
// never blocks anything, some pending job is ready unless a state that was held from the start has
// to be left and cannot be entered again.
func (e *Engine) order(start *standing, chosen []int, tasks []Task) ([]job, error) {
	w := &ordering{engine: e, tasks: tasks, held: newHolding(e, start.states)}
	w.now = &standing{off: slices.Clone(start.off), reached: slices.Clone(start.reached)}
	for _, o := range chosen {
		w.pending = append(w.pending, job{o, -1})
	}
	var repairs []job
	for t := range tasks {
		if tasks[t].Kind == Repair {
			repairs = append(repairs, job{-1, t})
		} else {
			w.pending = append(w.pending, job{-1, t})
		}
	}
	var out []job
	for len(w.pending) > 0 {
		at := w.next()
		if at < 0 {
			return nil, w.stuck(w.pending[0])
		}
		j := w.pending[at]
		w.pending = slices.Delete(w.pending, at, at+1)
		w.do(j)
		out = append(out, j)
	}
	return append(out, repairs...), nil
}

// stuck explains a job that no order can bring about.
func (w *ordering) stuck(j job) error {
	for _, s := range w.needs(j) {
		state := w.engine.model.States[s]
		if !w.held.has(s) && !w.open(w.now.off, state.NeedsOff) {
			return &ImpossibleError{Chain: []Obstacle{{State: state.ID, BlockedBy: state.NeedsOff,
				Why: fmt.Sprintf("%s has to be left on the way and cannot be entered again", state.Title)}}}
		}
	}
	return &ImpossibleError{Chain: []Obstacle{{Why: "no order of the chosen operations is possible"}}}
}

// next is the pending job of least cost; an inspection whose targets are open comes first, because
// what it finds may change everything after it.
func (w *ordering) next() int {
	best, bestCost := -1, 0.0
	for i, j := range w.pending {
		if !w.ready(j) {
			continue
		}
		if j.task >= 0 {
			return i
		}
		if cost := w.change(j); best < 0 || cost < bestCost {
			best, bestCost = i, cost
		}
	}
	return best
}

func (w *ordering) ready(j job) bool {
	e := w.engine
	if j.task >= 0 {
		t := w.tasks[j.task]
		return w.open(w.now.reached, t.Targets) && w.open(w.now.off, t.MustBeOff) && w.enterable(w.needs(j))
	}
	return w.now.ready(e, j.operation) && w.enterable(w.needs(j))
}

func (w *ordering) open(in []bool, pieces []string) bool {
	for _, id := range pieces {
		if !in[w.engine.pieces[id]] {
			return false
		}
	}
	return true
}

// enterable reports whether every state that is not held yet could be entered now.
func (w *ordering) enterable(states []int) bool {
	for _, s := range states {
		if !w.held.has(s) && !w.open(w.now.off, w.engine.model.States[s].NeedsOff) {
			return false
		}
	}
	return true
}

// needs lists the states that the job requires, each after what it needs itself.
func (w *ordering) needs(j job) []int   { return w.engine.jobNeeds(w.tasks, j) }
func (w *ordering) forbids(j job) []int { return w.engine.jobForbids(w.tasks, j) }

// change is the expected minutes lost by doing the job next: position, tools, and the states that
// would have to be left and entered again.
func (w *ordering) change(j job) float64 {
	r, setup := w.resources(j), w.engine.model.Setup
	cost := 0.0
	if r.Position != "" && w.position != "" && r.Position != w.position {
		cost += setup.PositionChange
	}
	cost += setup.ToolChange * float64(missing(r.Tools, w.tools))
	for _, s := range w.forbids(j) {
		if w.held.has(s) {
			cost += w.round(s)
		}
	}
	for _, s := range w.needs(j) {
		if !w.held.has(s) && w.forbiddenLater(s, j) {
			cost += w.round(s)
		}
	}
	return cost
}

func (w *ordering) round(state int) float64 {
	s := w.engine.model.States[state]
	return s.Enter.Mean() + s.Leave.Mean()
}

// forbiddenLater reports whether another pending job forbids the state.
func (w *ordering) forbiddenLater(state int, but job) bool {
	for _, j := range w.pending {
		if j != but && slices.Contains(w.forbids(j), state) {
			return true
		}
	}
	return false
}

func (w *ordering) do(j job) {
	for _, s := range w.forbids(j) {
		w.held.leave(s)
	}
	for _, s := range w.needs(j) {
		w.held.enter(s)
	}
	if j.operation >= 0 {
		w.now.open(w.engine, j.operation)
	}
	r := w.resources(j)
	if r.Position != "" {
		w.position = r.Position
	}
	if len(r.Tools) > 0 {
		w.tools = r.Tools
	}
}

func (w *ordering) resources(j job) Resources {
	if j.task >= 0 {
		return w.tasks[j.task].Resources
	}
	return w.engine.model.Operations[j.operation].Resources
}

func missing(wanted, have []string) int {
	n := 0
	for _, t := range wanted {
		if !slices.Contains(have, t) {
			n++
		}
	}
	return n
}
