package teardown_test

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"

	"ramprow/internal/engine/teardown"
)

// cheapest grows sets of operations one by one and prices each set with the states that it and the
// tasks need: every set that can be done at all, and is not dearer than one that suffices, is
// visited.
func cheapest(m teardown.Model, tasks []teardown.Task) float64 {
	c := newCar(m)
	best := math.Inf(1)
	visited := make([]bool, 1<<len(m.Operations))
	var states []string
	for _, t := range tasks {
		states = append(states, t.NeedsStates...)
	}
	var visit func(set int, cost float64, states []string)
	visit = func(set int, cost float64, states []string) {
		if visited[set] || cost >= best {
			return
		}
		visited[set] = true
		if c.allows(tasks) {
			for s := range c.needed(states) {
				cost += c.states[s].Enter.Mean() + c.states[s].Leave.Mean()
			}
			best = min(best, cost)
			return
		}
		for i, o := range m.Operations {
			if set&(1<<i) == 0 && c.blocked(o) == "" && c.canHold(o.NeedsStates, o.ForbidsStates) {
				c.turn(o, 1)
				visit(set|1<<i, cost+o.Effort.Mean()+o.Refit.Mean(), append(states[:len(states):len(states)], o.NeedsStates...))
				c.turn(o, -1)
			}
		}
	}
	visit(0, 0, states)
	return best
}

func (c *car) allows(tasks []teardown.Task) bool {
	for _, t := range tasks {
		for _, p := range t.Targets {
			if c.reached[p] == 0 {
				return false
			}
		}
		for _, p := range t.MustBeOff {
			if c.off[p] == 0 {
				return false
			}
		}
		if !c.canHold(t.NeedsStates, t.ForbidsStates) {
			return false
		}
	}
	return true
}

func (c *car) canHold(needs, forbids []string) bool {
	for s := range c.needed(needs) {
		for _, p := range c.states[s].NeedsOff {
			if c.off[p] == 0 {
				return false
			}
		}
		if contains(forbids, s) {
			return false
		}
	}
	return true
}

func TestPlanEqualsBruteForceOnRandomCars(t *testing.T) {
	const instances = 10_000
	r := rand.New(rand.NewPCG(1, 2))
	possible, long := 0, 0
	for i := range instances {
		m := randomCar(r)
		tasks := randomTasks(r, m)
		want := cheapest(m, tasks)
		plan, err := must(teardown.New(m)).Plan(teardown.CarState{}, tasks, teardown.Options{MeansOnly: true})
		if math.IsInf(want, 1) {
			var impossible *teardown.ImpossibleError
			if !errors.As(err, &impossible) || len(impossible.Chain) == 0 || impossible.Error() == "" {
				t.Fatalf("instance %d: want an explanation, got %v", i, err)
			}
			continue
		}
		if err != nil {
			t.Fatalf("instance %d: %v", i, err)
		}
		if !plan.Proved || math.Abs(plan.Cost-want) > 1e-9 || math.Abs(plan.Bound-want) > 1e-9 {
			t.Fatalf("instance %d: cost %v, bound %v, proved %v; want %v", i, plan.Cost, plan.Bound, plan.Proved, want)
		}
		if problem := replay(m, teardown.CarState{}, tasks, plan.Steps, inOrder(plan.Steps)); problem != "" {
			t.Fatalf("instance %d: %s", i, problem)
		}
		shuffled := anyOrder(r, plan.Steps)
		if problem := replay(m, teardown.CarState{}, tasks, plan.Steps, shuffled); problem != "" {
			t.Fatalf("instance %d, order %v: %s", i, shuffled, problem)
		}
		possible++
		if len(plan.Chosen) > 2 {
			long++
		}
	}
	if possible < instances/3 || long < instances/10 {
		t.Errorf("%d possible and %d with more than two operations of %d say little", possible, long, instances)
	}
	t.Logf("%d possible, %d with more than two operations, of %d", possible, long, instances)
}
