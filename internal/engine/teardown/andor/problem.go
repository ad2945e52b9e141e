// Package andor finds a cheapest set of actions that makes goals true, where an action needs all of
// its preconditions and a fact may be brought about by any of several actions, and nothing that
// became true ever becomes false. With alternatives that is NP-hard (set cover is a case of it);
// without, it is a linear closure.
package andor

import (
	"fmt"
	"math"
)

// Action makes facts true once all of its preconditions are. A choice between preconditions is
// written as a fact of its own with one free action for each alternative.
type Action struct {
	Pre  []int
	Add  []int
	Cost float64
}

// Problem asks for Goal from Start. Facts are numbered from 0 to Facts-1, costs are not negative.
type Problem struct {
	Facts   int
	Actions []Action
	Start   []int
	Goal    []int
}

// Solution is a set of actions that reaches the goal.
type Solution struct {
	// Actions are indexes, in an order in which they can be done. The goal rests on each of them.
	Actions []int
	Cost    float64
	// Bound is a proved lower bound on the cost of any solution; Proved says that Cost meets it.
	Bound  float64
	Proved bool
	// Nodes is how many subproblems were looked at.
	Nodes int
}

// UnreachableError says that no set of actions reaches the goal.
type UnreachableError struct {
	// Facts are the goals that cannot be reached.
	Facts []int
}

func (e *UnreachableError) Error() string {
	return fmt.Sprintf("facts %v cannot be reached", e.Facts)
}

// Solve searches until the optimum is proved or maxNodes subproblems were looked at. Its error is an
// *UnreachableError.
func Solve(p Problem, maxNodes int) (Solution, error) {
	reached := Reachable(p)
	var missing []int
	for _, g := range p.Goal {
		if !reached[g] {
			missing = append(missing, g)
		}
	}
	if len(missing) > 0 {
		return Solution{}, &UnreachableError{missing}
	}
	s := search{left: maxNodes}
	origin := make([]int, len(p.Actions))
	for i := range origin {
		origin[i] = i
	}
	r := s.minimise(node{p, origin}, math.Inf(1))
	paid := make([]bool, len(p.Actions))
	for _, a := range r.paid {
		paid[a] = true
	}
	plan := extract(p, func(a int) bool { return paid[a] || p.Actions[a].Cost == 0 })
	cost := 0.0
	for _, a := range plan {
		cost += p.Actions[a].Cost
	}
	proved := r.bound >= r.cost-tolerance(r.cost)
	if proved {
		r.bound = cost
	}
	return Solution{Actions: plan, Cost: cost, Bound: min(r.bound, cost), Proved: proved, Nodes: maxNodes - s.left}, nil
}

// tolerance absorbs the rounding of sums of costs.
func tolerance(cost float64) float64 { return 1e-9 * (1 + cost) }

// Reachable says for each fact whether the actions can make it true at all. It is linear in the
// size of the problem.
func Reachable(p Problem) []bool {
	reached, _ := forward(p, func(int) bool { return true })
	return reached
}

// Suffices reports whether the usable actions alone reach the goal, in linear time.
func Suffices(p Problem, usable func(action int) bool) bool {
	reached, _ := forward(p, usable)
	return all(p.Goal, reached)
}

// forward applies usable actions until nothing new becomes true, and gives the order in which they
// were applied.
func forward(p Problem, usable func(action int) bool) (reached []bool, order []int) {
	reached = make([]bool, p.Facts)
	waiting := make([]int, len(p.Actions))
	needs := consumers(p)
	var ready []int
	for i, a := range p.Actions {
		waiting[i] = len(a.Pre)
		if len(a.Pre) == 0 && usable(i) {
			ready = append(ready, i)
		}
	}
	reach := func(f int) {
		if reached[f] {
			return
		}
		reached[f] = true
		for _, a := range needs.of(f) {
			if waiting[a]--; waiting[a] == 0 && usable(int(a)) {
				ready = append(ready, int(a))
			}
		}
	}
	for _, f := range p.Start {
		reach(f)
	}
	for len(ready) > 0 {
		a := ready[0]
		ready = ready[1:]
		order = append(order, a)
		for _, f := range p.Actions[a].Add {
			reach(f)
		}
	}
	return reached, order
}

// extract gives a plan from usable actions: applied forwards, first achievers kept, and what the
// goal does not rest upon left out.
func extract(p Problem, usable func(action int) bool) []int {
	_, order := forward(p, usable)
	achiever := make([]int, p.Facts)
	for i := range achiever {
		achiever[i] = -1
	}
	start := make([]bool, p.Facts)
	for _, f := range p.Start {
		start[f] = true
	}
	for _, a := range order {
		for _, f := range p.Actions[a].Add {
			if achiever[f] < 0 && !start[f] {
				achiever[f] = a
			}
		}
	}
	kept := make([]bool, len(p.Actions))
	open := append([]int(nil), p.Goal...)
	for len(open) > 0 {
		f := open[len(open)-1]
		open = open[:len(open)-1]
		if a := achiever[f]; a >= 0 && !kept[a] {
			kept[a] = true
			open = append(open, p.Actions[a].Pre...)
		}
	}
	plan := order[:0]
	for _, a := range order {
		if kept[a] {
			plan = append(plan, a)
		}
	}
	return plan
}
