package diagnosis

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"
)

// optimum follows every way of repairing and testing to its end, each test at most once.
func optimum(p *planner, belief []float64, s state) float64 {
	if s.left == 0 {
		return 0
	}
	total := weight(belief, s)
	best := math.Inf(1)
	if p.handOver > 0 {
		best = p.handOver * total
	}
	for c := range p.repairs {
		if s.suspects(c) {
			now := (p.repairs[c].minutes + p.openCost(p.repairs[c].behind, s)) * total
			best = min(best, now+optimum(p, belief, p.afterRepair(s, c)))
		}
	}
	for t := range p.tests {
		if s.done&(1<<t) != 0 {
			continue
		}
		cost := (p.tests[t].minutes + p.openCost(p.tests[t].behind, s)) * total
		for _, positive := range []bool{true, false} {
			after := make([]float64, len(belief))
			next := p.afterTest(belief, s, t, positive, after)
			next.done |= 1 << t // certain tests too: doing one again tells nothing
			cost += optimum(p, after, next)
		}
		best = min(best, cost)
	}
	return best
}

func TestNextEqualsExhaustiveSearch(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := drawOpenings(t)
		m.Causes = m.Causes[:min(len(m.Causes), 4)]
		for i := range rapid.IntRange(0, 3).Draw(t, "tests") {
			x := Test{ID: fmt.Sprint("t", i), Minutes: rapid.Float64Range(0, 20).Draw(t, "minutes")}
			if rapid.Bool().Draw(t, "noisy") {
				x.FalsePositive = .1
			}
			for _, c := range m.Causes {
				if rapid.Bool().Draw(t, "tied") {
					x.Positive = append(x.Positive, Effect{c.ID, rapid.SampledFrom([]float64{.6, .9, 1}).Draw(t, "sensitivity")})
				}
			}
			if len(m.Openings) > 0 && rapid.Bool().Draw(t, "inside") {
				x.Behind = m.Openings[0].ID
			}
			m.Tests = append(m.Tests, x)
		}
		m.HandOverMinutes = rapid.SampledFrom([]float64{0, 0, 40}).Draw(t, "hand over")
		e, err := New(m)
		if err != nil {
			t.Fatal(err)
		}
		got, err := e.NextWithin(Evidence{}, 1_000_000)
		if err != nil {
			t.Fatal(err)
		}
		b, x, err := e.posterior(Evidence{})
		if err != nil {
			t.Fatal(err)
		}
		v := e.view(b, x, Evidence{})
		want := optimum(v.planner, v.belief, v.start)
		if !got.Exact || math.Abs(got.ExpectedMinutes-want) > 1e-9*(1+want) {
			t.Fatalf("expected minutes %v (exact %v), exhaustive search %v", got.ExpectedMinutes, got.Exact, want)
		}
		short, err := e.NextWithin(Evidence{}, 20)
		if err != nil {
			t.Fatal(err)
		}
		if short.ExpectedMinutes < want-1e-9*want || short.ExpectedAtLeast > want+1e-9*want {
			t.Fatalf("optimum %v is not within [%v, %v]", want, short.ExpectedAtLeast, short.ExpectedMinutes)
		}
	})
}

// TestFifteenSuspectsExactly: with certain tests, fifteen suspects are told apart optimally, and no tree can beat
// the entropy of the suspects.
func TestFifteenSuspectsExactly(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	weights := make([]float64, 15)
	rows := make([]string, 15)
	total, entropy := 0.0, 0.0
	for i := range weights {
		weights[i] = .01 + r.Float64()
		total += weights[i]
		rows[i] = fmt.Sprintf("%04b", i+1) + fmt.Sprintf("%08b", r.IntN(256))
	}
	for _, w := range weights {
		entropy -= w / total * math.Log2(w/total)
	}
	const repair = 1000
	a, err := mustEngine(t, matrixModel(weights, rows, repair)).NextWithin(Evidence{}, 20_000_000)
	if err != nil {
		t.Fatal(err)
	}
	tests := a.ExpectedMinutes - repair
	if !a.Exact || tests < entropy || tests > 4 {
		t.Errorf("%v tests expected (exact %v); entropy %v, four tests always suffice", tests, a.Exact, entropy)
	}
	t.Logf("%v tests expected, entropy %v", tests, entropy)
}
