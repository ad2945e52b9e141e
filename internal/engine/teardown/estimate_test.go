package teardown_test

import (
	"fmt"
	"math"
	"testing"

	"ramprow/internal/engine/teardown"
	"ramprow/internal/engine/teardown/effort"
)

func threePoint(optimistic, likely, pessimistic float64) effort.ThreePoint {
	return effort.ThreePoint{Optimistic: optimistic, Likely: likely, Pessimistic: pessimistic}
}

// chainPlan plans n operations one behind the other with the given effort and no refit.
func chainPlan(t *testing.T, efforts []effort.ThreePoint, o teardown.Options) teardown.Plan {
	t.Helper()
	var m teardown.Model
	for i, x := range efforts {
		p := teardown.Piece{ID: fmt.Sprint(i), Title: fmt.Sprint(i)}
		if i > 0 {
			p.BlockedBy = []teardown.Blocking{{AnyOf: []string{fmt.Sprint(i - 1)}}}
		}
		m.Pieces = append(m.Pieces, p)
		m.Operations = append(m.Operations, teardown.Operation{ID: p.ID, Title: p.ID, TakesOff: []string{p.ID}, Effort: x})
	}
	plan, err := must(teardown.New(m)).Plan(teardown.CarState{}, []teardown.Task{look(fmt.Sprint(len(efforts) - 1))}, o)
	if err != nil {
		t.Fatal(err)
	}
	return plan
}

// The chain A 2/3/5, B 5/8/14, C 3/4/6, D 1/2/3: mean 17.8333 is published; P50 17.746 and P80 19.475 were
// recomputed for the beta-PERT sum. The log-normal with the same moments comes within 1 %.
func TestEstimateOfPublishedChain(t *testing.T) {
	chain := []effort.ThreePoint{threePoint(2, 3, 5), threePoint(5, 8, 14), threePoint(3, 4, 6), threePoint(1, 2, 3)}
	plan := chainPlan(t, chain, teardown.Options{Seed: 7, Draws: 200_000})
	for _, c := range []struct {
		name             string
		got, want, limit float64
	}{
		{"mean", plan.Total.Mean, 17.833333, 1e-6},
		{"P50", plan.Total.P50, 17.746, .01 * 17.746},
		{"P80", plan.Total.P80, 19.475, .01 * 19.475},
	} {
		if math.Abs(c.got-c.want) > c.limit {
			t.Errorf("%s is %v, want %v", c.name, c.got, c.want)
		}
	}
	if plan.ByPhase[teardown.PhaseOpen] != plan.Total {
		t.Errorf("all of it is opening, but %+v is not %+v", plan.ByPhase[teardown.PhaseOpen], plan.Total)
	}
}

// TestEstimateCorrelation: percentiles of independent tasks do not add up, those of fully correlated ones do; the
// sum of independent ones agrees with Fenton & Wilkinson's formula.
func TestEstimateCorrelation(t *testing.T) {
	x := effort.ThreePoint{Optimistic: .2, Likely: 1, Pessimistic: 3}
	tasks := []effort.ThreePoint{x, x, x, x, x}
	d := x.LogNormal()
	independent := chainPlan(t, tasks, teardown.Options{Seed: 1, Draws: 100_000})
	together := chainPlan(t, tasks, teardown.Options{Seed: 1, Draws: 100_000, Correlation: 1})
	if added := 5 * d.Quantile(.8); math.Abs(together.Total.P80-added) > .02*added || independent.Total.P80 >= .97*added {
		t.Errorf("P80 independent %v, correlated %v, sum of P80s %v", independent.Total.P80, together.Total.P80, added)
	}
	if math.Abs(independent.Total.Mean-together.Total.Mean) > 1e-9 {
		t.Errorf("correlation moved the mean from %v to %v", independent.Total.Mean, together.Total.Mean)
	}
	sum := effort.LogNormalFromMoments(5*d.Mean(), 5*d.StdDev()*d.StdDev())
	if p80 := sum.Quantile(.8); math.Abs(independent.Total.P80-p80) > .01*p80 {
		t.Errorf("P80 %v, Fenton-Wilkinson %v", independent.Total.P80, p80)
	}
}

func TestEstimateIsRepeatable(t *testing.T) {
	chain := []effort.ThreePoint{threePoint(2, 3, 5), threePoint(5, 8, 14)}
	a, b := chainPlan(t, chain, teardown.Options{Seed: 3}), chainPlan(t, chain, teardown.Options{Seed: 3})
	c := chainPlan(t, chain, teardown.Options{Seed: 4})
	if a.Total != b.Total || a.Total == c.Total {
		t.Errorf("%v, %v, %v", a.Total, b.Total, c.Total)
	}
}
