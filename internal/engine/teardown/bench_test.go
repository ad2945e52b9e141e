package teardown_test

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"ramprow/internal/engine/teardown"
	"ramprow/internal/engine/teardown/effort"
)

// bigCar draws a car whose pieces are blocked by up to two that lie further out. Each alternative
// is a second way to a piece: by another operation with other needs, or past another blocker.
func bigCar(pieces, alternatives int, seed uint64) teardown.Model {
	r := rand.New(rand.NewPCG(seed, 0))
	name := func(i int) string { return fmt.Sprint("p", i) }
	outer := func(i int) string { return name(max(0, i-1-r.IntN(min(i, 12)))) }
	minutes := func() effort.ThreePoint {
		m := 1 + 20*r.Float64()
		return effort.ThreePoint{Optimistic: m * .7, Likely: m, Pessimistic: m * 2}
	}
	m := teardown.Model{Setup: teardown.Setup{PositionChange: 2, ToolChange: .5}}
	m.States = []teardown.State{
		{ID: "isolated", Title: "Battery isolated", Enter: effort.Exactly(4), Leave: effort.Exactly(3)},
		{ID: "locked", Title: "Timing locked", Enter: effort.Exactly(12), Leave: effort.Exactly(5)},
	}
	choice := map[int]bool{}
	for len(choice) < alternatives {
		choice[1+r.IntN(pieces-1)] = true
	}
	for i := range pieces {
		p := teardown.Piece{ID: name(i), Title: "Piece " + name(i)}
		if i > 0 {
			p.BlockedBy = []teardown.Blocking{{AnyOf: []string{outer(i)}}}
		}
		if i > 2 && r.IntN(3) == 0 {
			p.BlockedBy = append(p.BlockedBy, teardown.Blocking{AnyOf: []string{outer(i)}, Kind: teardown.Breaks})
		}
		if choice[i] && r.IntN(2) == 0 {
			p.BlockedBy[0].AnyOf = append(p.BlockedBy[0].AnyOf, outer(i))
		}
		op := teardown.Operation{ID: "off-" + p.ID, Title: "Off " + p.ID, TakesOff: []string{p.ID}, Effort: minutes(), Refit: minutes()}
		op.Position = []string{"above", "below", "wheel off"}[r.IntN(3)]
		op.Tools = []string{fmt.Sprint("tool", r.IntN(6))}
		if r.IntN(8) == 0 {
			op.NeedsStates = []string{m.States[r.IntN(2)].ID}
		}
		m.Operations = append(m.Operations, op)
		if choice[i] {
			short := op
			short.ID, short.Effort, short.Refit = "short-"+p.ID, minutes(), minutes()
			short.NeedsOff = []string{outer(i)}
			m.Operations = append(m.Operations, short)
		}
		m.Pieces = append(m.Pieces, p)
	}
	return m
}

// targets are the innermost pieces of a big car.
func targets(pieces, count int) []teardown.Task {
	var out []teardown.Task
	for i := range count {
		id := fmt.Sprint("p", pieces-1-i*max(1, pieces/(2*count)))
		out = append(out, teardown.Task{
			ID: "t" + id, Title: "Mend " + id, Kind: teardown.Repair, Targets: []string{id}, Effort: effort.Exactly(10),
		})
	}
	return out
}

func BenchmarkPlan(b *testing.B) {
	for _, size := range []struct{ pieces, alternatives, targets int }{
		{20, 4, 1}, {70, 8, 1}, {70, 8, 3}, {200, 24, 5}, {500, 60, 10}, {500, 60, 40},
	} {
		engine := must(teardown.New(bigCar(size.pieces, size.alternatives, 7)))
		tasks := targets(size.pieces, size.targets)
		for _, o := range []teardown.Options{{MeansOnly: true}, {Seed: 1}} {
			name := fmt.Sprintf("pieces=%d/alternatives=%d/targets=%d/percentiles=%v", size.pieces, size.alternatives, size.targets, !o.MeansOnly)
			b.Run(name, func(b *testing.B) {
				b.ReportAllocs()
				for b.Loop() {
					plan, err := engine.Plan(teardown.CarState{}, tasks, o)
					if err != nil || !plan.Proved {
						b.Fatal(plan.Cost, plan.Bound, err)
					}
					b.ReportMetric(float64(len(plan.Chosen)), "operations")
				}
			})
		}
	}
}

func BenchmarkPlanWithoutAlternatives(b *testing.B) {
	for _, pieces := range []int{100, 1000, 10_000} {
		engine := must(teardown.New(bigCar(pieces, 0, 7)))
		var all []string
		for i := range pieces {
			all = append(all, fmt.Sprint("p", i))
		}
		b.Run(fmt.Sprint("pieces=", pieces), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				plan, err := engine.Plan(teardown.CarState{}, []teardown.Task{look(all...)}, teardown.Options{MeansOnly: true})
				if err != nil || !plan.Proved || len(plan.Chosen) != pieces {
					b.Fatal(len(plan.Chosen), err)
				}
			}
		})
	}
}

// TestWorkshopSizeIsProved: the sizes that a workshop's catalogue has are proved optimal within the default
// budget, whatever the car.
func TestWorkshopSizeIsProved(t *testing.T) {
	for seed := range uint64(8) {
		for _, size := range []struct{ pieces, alternatives, targets int }{{70, 12, 3}, {500, 60, 10}} {
			m := bigCar(size.pieces, size.alternatives, seed)
			tasks := targets(size.pieces, size.targets)
			plan, err := must(teardown.New(m)).Plan(teardown.CarState{}, tasks, teardown.Options{MeansOnly: true})
			if err != nil || !plan.Proved {
				t.Errorf("%v seed %d: cost %v, bound %v, %v", size, seed, plan.Cost, plan.Bound, err)
				continue
			}
			if problem := replay(m, teardown.CarState{}, tasks, plan.Steps, inOrder(plan.Steps)); problem != "" {
				t.Errorf("%v seed %d: %s", size, seed, problem)
			}
		}
	}
}
