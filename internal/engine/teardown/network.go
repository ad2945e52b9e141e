package teardown

import (
	"fmt"
	"slices"

	"ramprow/internal/engine/teardown/andor"
)

// network is the model and one request as an and/or problem. Its facts are, in this order: each
// piece off, each piece reached, each state entered, and one for each choice.
type network struct {
	engine  *Engine
	problem andor.Problem
	// meaning tells what each action stands for.
	meaning []meaning
}

// meaning is an operation, a state to be entered, or neither where an action merely draws a
// conclusion; unused ones are -1.
type meaning struct {
	operation int
	state     int
}

func (n *network) off(piece int) int     { return piece }
func (n *network) reached(piece int) int { return len(n.engine.model.Pieces) + piece }
func (n *network) entered(state int) int { return 2*len(n.engine.model.Pieces) + state }

// newNetwork writes down every way that is allowed; excluded operations and those that need a
// state which they forbid are left out.
func (e *Engine) newNetwork(excluded []bool) *network {
	n := &network{engine: e}
	n.problem.Facts = 2*len(e.model.Pieces) + len(e.model.States)
	for p := range e.model.Pieces {
		n.conclude([]int{n.off(p)}, n.reached(p))
	}
	for s, state := range e.model.States {
		var pre []int
		for _, id := range state.NeedsStates {
			pre = append(pre, n.entered(e.states[id]))
		}
		for _, id := range state.NeedsOff {
			pre = append(pre, n.off(e.pieces[id]))
		}
		cost := state.Enter.Mean() + state.Leave.Mean()
		n.add(andor.Action{Pre: pre, Add: []int{n.entered(s)}, Cost: cost}, meaning{-1, s})
	}
	for o := range e.model.Operations {
		if !excluded[o] && !e.contradicts(o) {
			n.addOperation(o)
		}
	}
	return n
}

// contradicts reports whether the operation needs a state that it forbids.
func (e *Engine) contradicts(operation int) bool {
	for _, s := range e.requires[operation] {
		for _, id := range e.model.Operations[operation].ForbidsStates {
			if e.states[id] == s {
				return true
			}
		}
	}
	return false
}

func (n *network) addOperation(o int) {
	op := n.engine.model.Operations[o]
	a := andor.Action{Cost: op.Effort.Mean() + op.Refit.Mean()}
	for _, g := range n.engine.groups[o] {
		a.Pre = append(a.Pre, n.group(g))
	}
	for _, id := range op.NeedsStates {
		a.Pre = append(a.Pre, n.entered(n.engine.states[id]))
	}
	for _, id := range op.TakesOff {
		a.Add = append(a.Add, n.off(n.engine.pieces[id]))
	}
	for _, id := range op.Reaches {
		a.Add = append(a.Add, n.reached(n.engine.pieces[id]))
	}
	n.add(a, meaning{o, -1})
}

// group is the fact that the group is satisfied: the piece's own, or one for the choice.
func (n *network) group(g group) int {
	fact := n.off
	if g.reached {
		fact = n.reached
	}
	if len(g.pieces) == 1 {
		return fact(g.pieces[0])
	}
	choice := n.problem.Facts
	n.problem.Facts++
	for _, p := range g.pieces {
		n.conclude([]int{fact(p)}, choice)
	}
	return choice
}

func (n *network) conclude(from []int, to int) {
	n.add(andor.Action{Pre: from, Add: []int{to}}, meaning{-1, -1})
}

func (n *network) add(a andor.Action, m meaning) {
	n.problem.Actions = append(n.problem.Actions, a)
	n.meaning = append(n.meaning, m)
}

// request sets start and goal.
func (n *network) request(start *standing, tasks []Task) error {
	for p, off := range start.off {
		if off {
			n.problem.Start = append(n.problem.Start, n.off(p))
		}
		if start.reached[p] {
			n.problem.Start = append(n.problem.Start, n.reached(p))
		}
	}
	for _, s := range start.states {
		n.problem.Start = append(n.problem.Start, n.entered(s))
	}
	for _, t := range tasks {
		if err := n.want(t); err != nil {
			return err
		}
	}
	return nil
}

func (n *network) want(t Task) error {
	where := fmt.Sprintf("task %q", t.ID)
	e := n.engine
	if err := checkEffort(where, t.Effort); err != nil {
		return err
	}
	targets, err := e.indexes(where, e.pieces, t.Targets)
	if err != nil {
		return err
	}
	off, err := e.indexes(where, e.pieces, t.MustBeOff)
	if err != nil {
		return err
	}
	states, err := e.indexes(where, e.states, t.NeedsStates)
	if err != nil {
		return err
	}
	if _, err := e.indexes(where, e.states, t.ForbidsStates); err != nil {
		return err
	}
	for _, p := range targets {
		n.problem.Goal = append(n.problem.Goal, n.reached(p))
	}
	for _, p := range off {
		n.problem.Goal = append(n.problem.Goal, n.off(p))
	}
	for _, s := range states {
		n.problem.Goal = append(n.problem.Goal, n.entered(s))
	}
	return nil
}

// insist makes it part of the goal that operations were done. One that is done needs nothing more.
func (n *network) insist(operations []int, now *standing) error {
	for _, o := range operations {
		if slices.Contains(now.done, o) {
			continue
		}
		at := slices.IndexFunc(n.meaning, func(m meaning) bool { return m.operation == o })
		if at < 0 {
			id := n.engine.model.Operations[o].ID
			return &InvalidError{fmt.Sprintf("operation %q", id), "must be done and is excluded"}
		}
		wasDone := n.problem.Facts
		n.problem.Facts++
		n.problem.Actions[at].Add = append(n.problem.Actions[at].Add, wasDone)
		n.problem.Goal = append(n.problem.Goal, wasDone)
	}
	return nil
}
