package teardown

import (
	"errors"
	"fmt"

	"ramprow/internal/engine/teardown/andor"
)

// Plan finds the operations of least expected effort that make the tasks possible from the car as
// it stands, orders them, and closes everything that is open at the end. Its error is an
// *InvalidError or an *ImpossibleError.
func (e *Engine) Plan(start CarState, tasks []Task, o Options) (Plan, error) {
	if !(o.Correlation >= 0 && o.Correlation <= 1) {
		return Plan{}, &InvalidError{"correlation", "must lie in [0, 1]"}
	}
	now, err := e.stand(start)
	if err != nil {
		return Plan{}, err
	}
	chosen, solution, err := e.choose(now, tasks, o)
	if err != nil {
		return Plan{}, err
	}
	jobs, err := e.order(now, chosen, tasks)
	if err != nil {
		return Plan{}, err
	}
	p := Plan{Cost: solution.Cost, Bound: solution.Bound, Proved: solution.Proved, Nodes: solution.Nodes}
	for _, j := range jobs {
		if j.operation >= 0 {
			p.Chosen = append(p.Chosen, e.model.Operations[j.operation].ID)
		}
	}
	p.Steps = e.script(now, jobs, tasks)
	e.estimate(&p, o)
	return p, nil
}

// choose solves the and/or problem and lists the operations of its solution.
func (e *Engine) choose(now *standing, tasks []Task, o Options) ([]int, andor.Solution, error) {
	excluded, err := e.excluded(o)
	if err != nil {
		return nil, andor.Solution{}, err
	}
	through, err := e.indexes("options", e.operations, o.Through)
	if err != nil {
		return nil, andor.Solution{}, err
	}
	n := e.newNetwork(excluded)
	if err := n.request(now, tasks); err != nil {
		return nil, andor.Solution{}, err
	}
	if err := n.insist(through, now); err != nil {
		return nil, andor.Solution{}, err
	}
	nodes := o.MaxNodes
	if nodes <= 0 {
		nodes = DefaultMaxNodes
	}
	solution, err := andor.Solve(n.problem, nodes)
	var unreachable *andor.UnreachableError
	if errors.As(err, &unreachable) {
		return nil, andor.Solution{}, n.explain(unreachable.Facts)
	}
	if err != nil {
		return nil, andor.Solution{}, fmt.Errorf("choosing operations: %w", err)
	}
	if err := e.contradictory(tasks); err != nil {
		return nil, andor.Solution{}, err
	}
	return n.operations(solution.Actions), solution, nil
}

// operations lists the operations among the actions. One that takes no time costs nothing to
// choose; it is left out where the others do without it.
func (n *network) operations(actions []int) []int {
	kept := make([]bool, len(n.problem.Actions))
	for _, a := range actions {
		kept[a] = true
	}
	var out []int
	for _, a := range actions {
		if n.meaning[a].operation < 0 {
			continue
		}
		if n.problem.Actions[a].Cost == 0 {
			kept[a] = false
			kept[a] = !andor.Suffices(n.problem, func(b int) bool { return kept[b] || n.meaning[b].operation < 0 })
		}
		if kept[a] {
			out = append(out, n.meaning[a].operation)
		}
	}
	return out
}

func (e *Engine) excluded(o Options) ([]bool, error) {
	out := make([]bool, len(e.model.Operations))
	without, err := e.indexes("options", e.operations, o.Without)
	if err != nil {
		return nil, err
	}
	for _, i := range without {
		out[i] = true
	}
	for i, op := range e.model.Operations {
		if o.OnlyByTheBook && !op.ByTheBook {
			out[i] = true
		}
	}
	return out, nil
}

// contradictory finds a task that needs a state which it forbids.
func (e *Engine) contradictory(tasks []Task) error {
	for _, t := range tasks {
		for _, s := range e.taskRequires(t) {
			for _, f := range e.stateIndexes(t.ForbidsStates) {
				if s == f {
					id := e.model.States[s].ID
					return &ImpossibleError{Chain: []Obstacle{{
						State: id,
						Why:   fmt.Sprintf("%s needs %s and forbids it", t.Title, e.model.States[s].Title),
					}}}
				}
			}
		}
	}
	return nil
}
