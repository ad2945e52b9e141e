package andor

import (
	"math"
	"slices"
)

// search is branch and bound, depth first, over subproblems that are reduced and split at every
// node.
type search struct{ left int }

// result is the best solution found for a subproblem: original indexes of its paid actions, their
// cost, and a proved lower bound on it. A subproblem that cannot be solved, or not below the limit
// that it was given, is not found; its bound says so.
type result struct {
	found bool
	paid  []int
	cost  float64
	bound float64
}

// minimise solves a problem whose solutions matter only when they cost less than the limit.
func (s *search) minimise(n node, limit float64) result {
	r := reduce(n)
	if !r.feasible {
		return result{bound: math.Inf(1)}
	}
	out := result{found: true, paid: r.paid, cost: r.cost, bound: r.cost}
	for _, part := range r.parts {
		sub := s.branch(part, limit-out.bound)
		out.found = out.found && sub.found
		out.paid = append(out.paid, sub.paid...)
		out.cost += sub.cost
		out.bound += sub.bound
		if !out.found {
			return out
		}
	}
	return out
}

// branch solves a part that is known to be solvable. A bound that meets a greedy plan ends it.
// Else what the bound tells is used before anything is tried: an action that is a cut by itself is
// in every solution, and one whose remaining cost on top of the bound reaches the best plan is in
// no better one. Only then one action of the plan is tried inside and outside every solution.
func (s *search) branch(n node, limit float64) result {
	s.left--
	lower, cuts, reducedCost := bound(n.Problem)
	if lower >= limit-tolerance(lower) {
		return result{bound: lower}
	}
	plan := greedy(n.Problem, reducedCost)
	best := n.price(plan)
	best.bound = lower
	if best.cost <= lower+tolerance(lower) || s.left <= 0 {
		return best
	}
	limit = min(limit, best.cost)
	if smaller, price, changed := n.conclude(cuts, reducedCost, limit-lower); changed {
		rest := s.minimise(smaller, limit-price.cost)
		rest.add(price)
		best.improve(rest)
		best.bound = max(lower, min(best.cost, rest.bound))
		return best
	}
	pivot := choose(n.Problem, plan, cuts)
	within, price := n.include(pivot)
	with := s.minimise(within, limit-price.cost)
	with.add(price)
	best.improve(with)
	without := s.minimise(n.exclude(pivot), min(limit, best.cost))
	best.improve(without)
	best.bound = max(lower, min(best.cost, with.bound, without.bound))
	return best
}

// conclude pays for actions that are in every solution and drops those that are in none that
// improves by more than the gap; it tells whether there were any.
func (n node) conclude(cuts []landmark, reducedCost []float64, gap float64) (node, result, bool) {
	price := result{found: true}
	actions := slices.Clone(n.Actions)
	for _, c := range cuts {
		if len(c) == 1 && actions[c[0]].Cost > 0 {
			price.paid = append(price.paid, n.origin[c[0]])
			price.cost += actions[c[0]].Cost
			actions[c[0]].Cost = 0
		}
	}
	out := node{Problem: n.Problem}
	out.Actions = nil
	for i, a := range actions {
		if reducedCost[i] < gap-tolerance(gap) {
			out.Actions = append(out.Actions, a)
			out.origin = append(out.origin, n.origin[i])
		}
	}
	price.bound = price.cost
	return out, price, len(price.paid) > 0 || len(out.Actions) < len(n.Actions)
}

// add puts a price that was paid in advance on top.
func (r *result) add(price result) {
	r.paid = append(r.paid, price.paid...)
	r.cost += price.cost
	r.bound += price.cost
}

func (r *result) improve(other result) {
	if other.found && other.cost < r.cost {
		r.paid, r.cost = other.paid, other.cost
	}
}

func (n node) price(plan []int) result {
	r := result{found: true}
	for _, a := range plan {
		if n.Actions[a].Cost > 0 {
			r.paid = append(r.paid, n.origin[a])
			r.cost += n.Actions[a].Cost
		}
	}
	return r
}

// include makes the action free and gives its price.
func (n node) include(action int) (node, result) {
	price := result{paid: []int{n.origin[action]}, cost: n.Actions[action].Cost}
	n.Actions = slices.Clone(n.Actions)
	n.Actions[action].Cost = 0
	return n, price
}

func (n node) exclude(action int) node {
	n.Actions = slices.Delete(slices.Clone(n.Actions), action, action+1)
	n.origin = slices.Delete(slices.Clone(n.origin), action, action+1)
	return n
}

// greedy takes a plan among actions that the bound left no cost, and then leaves out, the dearest
// first, whatever is not needed beside the others.
func greedy(p Problem, reducedCost []float64) []int {
	dropped := make([]bool, len(p.Actions))
	usable := func(a int) bool { return reducedCost[a] == 0 && !dropped[a] }
	plan := extract(p, usable)
	byCost := slices.Clone(plan)
	slices.SortStableFunc(byCost, func(a, b int) int {
		switch d := p.Actions[b].Cost - p.Actions[a].Cost; {
		case d > 0:
			return 1
		case d < 0:
			return -1
		}
		return 0
	})
	for _, a := range byCost {
		if p.Actions[a].Cost == 0 {
			break
		}
		dropped[a] = true
		dropped[a] = Suffices(p, usable)
	}
	return extract(p, usable)
}

// choose picks the dearest action of the plan that competes with another in a cut.
func choose(p Problem, plan []int, cuts []landmark) int {
	contested := make([]bool, len(p.Actions))
	for _, c := range cuts {
		if len(c) < 2 {
			continue
		}
		for _, a := range c {
			contested[a] = true
		}
	}
	best := -1
	better := func(a int) bool {
		if p.Actions[a].Cost == 0 {
			return false
		}
		if best < 0 || contested[a] != contested[best] {
			return best < 0 || contested[a]
		}
		return p.Actions[a].Cost > p.Actions[best].Cost
	}
	for _, a := range plan {
		if better(a) {
			best = a
		}
	}
	return best
}
