package teardown

import (
	"fmt"
	"slices"
	"strings"
)

// job is one piece of work in the order: an operation or a task; the other is -1.
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
	// inspections wait for their targets; classes hold the operations that are ready.
	inspections []inspection
	classes     []*class
	classOf     map[string]*class
	waits       waiting
	// forbidders counts, by state, operations that forbid it and are still to come.
	forbidders []int
	// blocked counts, by position, operations that are not ready yet.
	blocked  map[string]int
	position string
	tools    []string
}

// class is a queue of operations between which nothing need be changed, so that one look judges
// them all. That keeps ordering linear where thousands are ready at once.
type class struct {
	queue []int
}

// order picks, step by step, what is ready and costs least to change to. Because opening never
// blocks anything, something is ready unless a state that was held from the start has to be left
// and cannot be entered again.
func (e *Engine) order(start *standing, chosen []int, tasks []Task) ([]job, error) {
	w := &ordering{
		engine: e, tasks: tasks, held: newHolding(e, start.states), classOf: map[string]*class{},
		forbidders: make([]int, len(e.model.States)), blocked: map[string]int{},
	}
	w.now = &standing{off: slices.Clone(start.off), reached: slices.Clone(start.reached)}
	w.waits = newWaiting(e, w.now, chosen)
	for _, o := range chosen {
		w.blocked[e.model.Operations[o].Position]++
		for _, s := range w.forbids(job{o, -1}) {
			w.forbidders[s]++
		}
	}
	var repairs []job
	for t := range tasks {
		if tasks[t].Kind == Repair {
			repairs = append(repairs, job{-1, t})
		} else {
			w.inspections = append(w.inspections, inspection{t, tasks[t].Targets, tasks[t].MustBeOff})
		}
	}
	var out []job
	w.admit(w.waits.ready)
	for range len(chosen) + len(w.inspections) {
		j, found := w.next()
		if !found {
			return nil, w.stuck()
		}
		w.do(j)
		out = append(out, j)
	}
	e.improve(start, out)
	return append(out, repairs...), nil
}

// admit puts operations that became ready into their classes.
func (w *ordering) admit(operations []int) {
	for _, o := range operations {
		m := w.engine.model.Operations[o]
		w.blocked[m.Position]--
		key := fmt.Sprint(m.Position, m.Tools, m.NeedsStates, m.ForbidsStates)
		c := w.classOf[key]
		if c == nil {
			c = &class{}
			w.classOf[key] = c
			w.classes = append(w.classes, c)
		}
		c.queue = append(c.queue, o)
	}
}

// next takes an inspection whose targets are open, because what it finds may change everything
// after it; else the operation that costs least to change to, and among equals one from the
// position at which least is still blocked, so that it need not be returned to.
func (w *ordering) next() (job, bool) {
	for i := range w.inspections {
		if w.inspectable(&w.inspections[i]) {
			j := job{-1, w.inspections[i].task}
			w.inspections = slices.Delete(w.inspections, i, i+1)
			return j, true
		}
	}
	var best *class
	bestCost := 0.0
	for _, c := range w.classes {
		if len(c.queue) == 0 || !w.enterable(w.needs(job{c.queue[0], -1})) {
			continue
		}
		cost := w.change(job{c.queue[0], -1})
		if best == nil || cost < bestCost || cost == bestCost && w.blockedAt(c) < w.blockedAt(best) {
			best, bestCost = c, cost
		}
	}
	if best == nil {
		return job{}, false
	}
	o := best.queue[0]
	best.queue = best.queue[1:]
	return job{o, -1}, true
}

func (w *ordering) blockedAt(c *class) int {
	return w.blocked[w.engine.model.Operations[c.queue[0]].Position]
}

// inspection is a task that waits for its targets. What is open stays open, so that the targets
// found open need not be looked at again.
type inspection struct {
	task               int
	reached, mustBeOff []string
}

func (w *ordering) inspectable(x *inspection) bool {
	x.reached = w.closed(w.now.reached, x.reached)
	x.mustBeOff = w.closed(w.now.off, x.mustBeOff)
	return len(x.reached)+len(x.mustBeOff) == 0 && w.enterable(w.needs(job{-1, x.task}))
}

// closed drops pieces that are open from the front of the list.
func (w *ordering) closed(in []bool, pieces []string) []string {
	for len(pieces) > 0 && in[w.engine.pieces[pieces[0]]] {
		pieces = pieces[1:]
	}
	return pieces
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

// stuck explains why nothing is ready.
func (w *ordering) stuck() error {
	var names []string
	for s, state := range w.engine.model.States {
		if !w.held.has(s) && !w.open(w.now.off, state.NeedsOff) {
			names = append(names, state.ID)
		}
	}
	return &ImpossibleError{Chain: []Obstacle{{
		Why: "a state has to be left on the way and cannot be entered again: " + strings.Join(names, ", "),
	}}}
}

func (w *ordering) needs(j job) []int   { return w.engine.jobNeeds(w.tasks, j) }
func (w *ordering) forbids(j job) []int { return w.engine.jobForbids(w.tasks, j) }

// change is the expected minutes lost by doing the operation next: position, tools, and states
// that would have to be left and entered again.
func (w *ordering) change(j job) float64 {
	r, setup := w.engine.model.Operations[j.operation].Resources, w.engine.model.Setup
	cost := setup.ToolChange * float64(missing(r.Tools, w.tools))
	if r.Position != "" && w.position != "" && r.Position != w.position {
		cost += setup.PositionChange
	}
	for _, s := range w.forbids(j) {
		if w.held.has(s) {
			cost += w.engine.round(s)
		}
	}
	for _, s := range w.needs(j) {
		if !w.held.has(s) && w.forbidders[s] > 0 {
			cost += w.engine.round(s)
		}
	}
	return cost
}

// round is the expected minutes to enter and leave a state.
func (e *Engine) round(state int) float64 {
	return e.model.States[state].Enter.Mean() + e.model.States[state].Leave.Mean()
}

func (w *ordering) do(j job) {
	for _, s := range w.forbids(j) {
		w.held.leave(s)
	}
	for _, s := range w.needs(j) {
		w.held.enter(s)
	}
	r := w.resources(j)
	if r.Position != "" {
		w.position = r.Position
	}
	if len(r.Tools) > 0 {
		w.tools = r.Tools
	}
	if j.operation < 0 {
		return
	}
	for _, s := range w.forbids(j) {
		w.forbidders[s]--
	}
	w.now.open(w.engine, j.operation)
	w.admit(w.waits.opened(w.engine, w.now, j.operation))
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
