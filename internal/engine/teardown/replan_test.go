package teardown_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"ramprow/internal/engine/teardown"
)

// TestReplanFromAnywhere does the open steps of a plan up to some point and plans again with other tasks as
// well: the new plan keeps done work done, is valid from the car as it stands, and closes everything. The
// same tasks again cost exactly what was left of them.
func TestReplanFromAnywhere(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	replanned := 0
	for i := range 3000 {
		m := randomCar(r)
		engine := must(teardown.New(m))
		tasks := randomTasks(r, m)
		first, err := engine.Plan(teardown.CarState{}, tasks, teardown.Options{MeansOnly: true})
		if err != nil || len(first.Chosen) == 0 {
			continue
		}
		start, spent := stopHalfWay(m, first, 1+r.IntN(len(first.Steps)))
		again, err := engine.Plan(start, tasks, teardown.Options{MeansOnly: true})
		if err != nil {
			t.Fatalf("instance %d: %v", i, err)
		}
		if math.Abs(again.Cost-(first.Cost-spent)) > 1e-9 {
			t.Fatalf("instance %d: cost %v, want %v less %v", i, again.Cost, first.Cost, spent)
		}
		more := append(slices.Clone(tasks), randomTasks(r, m)[0])
		more[len(more)-1].ID = "found"
		changed, err := engine.Plan(start, more, teardown.Options{MeansOnly: true})
		if err != nil {
			continue // the new target cannot be reached at all
		}
		if problem := replay(m, start, more, changed.Steps, inOrder(changed.Steps)); problem != "" {
			t.Fatalf("instance %d from %+v: %s", i, start, problem)
		}
		if shuffled := anyOrder(r, changed.Steps); replay(m, start, more, changed.Steps, shuffled) != "" {
			t.Fatalf("instance %d, order %v: %s", i, shuffled, replay(m, start, more, changed.Steps, shuffled))
		}
		replanned++
	}
	if replanned < 500 {
		t.Errorf("only %d replans were checked", replanned)
	}
}

// stopHalfWay does the first steps while they only open or enter, and sums up the cost of what the done
// operations and the states entered stand for, there and back.
func stopHalfWay(m teardown.Model, p teardown.Plan, steps int) (teardown.CarState, float64) {
	c := newCar(m)
	var start teardown.CarState
	spent := 0.0
	for _, s := range p.Steps[:steps] {
		switch s.Kind {
		case teardown.StepOpen:
			start.Done = append(start.Done, s.ID)
			spent += c.operations[s.ID].Effort.Mean() + c.operations[s.ID].Refit.Mean()
		case teardown.StepEnterState:
			start.States = append(start.States, s.ID)
			spent += c.states[s.ID].Enter.Mean() + c.states[s.ID].Leave.Mean()
		default:
			return start, spent
		}
	}
	return start, spent
}

// TestAnotherWay: somebody took off 8 without telling how. It is put down to the operation that puts it back, 2
// and 3 are still on, and it is closed as well.
func TestAnotherWay(t *testing.T) {
	m := tenParts()
	plan, err := must(teardown.New(m)).Plan(teardown.CarState{Off: []string{"8"}}, []teardown.Task{look("4")}, teardown.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if plan.Cost != 18 || !slices.Equal(plan.Chosen, []string{"off-4"}) {
		t.Errorf("cost %v with %v, want 18 with off-4", plan.Cost, plan.Chosen)
	}
	var closing []string
	for _, s := range plan.Steps {
		if s.Kind == teardown.StepRefit {
			closing = append(closing, s.ID)
		}
	}
	if !slices.Equal(closing, []string{"off-4", "off-8"}) {
		t.Errorf("closing %v", closing)
	}
}

func TestExcludedOperationsAreAvoided(t *testing.T) {
	engine := must(teardown.New(tenParts()))
	plan, err := engine.Plan(teardown.CarState{}, []teardown.Task{look("8")}, teardown.Options{Without: []string{"off-2"}})
	if err != nil {
		t.Fatal(err)
	}
	if plan.Cost != 48 || !slices.Equal(plan.Chosen, []string{"off-3", "off-8"}) {
		t.Errorf("cost %v with %v, want 48 with off-3, off-8", plan.Cost, plan.Chosen)
	}
}
