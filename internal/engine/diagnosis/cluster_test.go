package diagnosis

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"
)

// bestOrder tries every order of the repairs; an opening is paid for when it is first needed.
func bestOrder(p *planner, belief []float64, s state) float64 {
	if s.left == 0 {
		return 0
	}
	best := math.Inf(1)
	for c := range p.repairs {
		if s.suspects(c) {
			minutes := p.repairs[c].minutes + p.openCost(p.repairs[c].behind, s)
			best = min(best, minutes*weight(belief, s)+bestOrder(p, belief, p.afterRepair(s, c)))
		}
	}
	return best
}

// TestBottomUpIsOptimal: over a forest of openings the bottom-up order costs the least of all orders, as Ottosen &
// Jensen state for clusters that need not be closed to see whether the fault is gone.
func TestBottomUpIsOptimal(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m := drawOpenings(t)
		e, err := New(m)
		if err != nil {
			t.Fatal(err)
		}
		b, x, err := e.posterior(Evidence{})
		if err != nil {
			t.Fatal(err)
		}
		v := e.view(b, x, Evidence{})
		got, want := v.repairOnly(v.belief, v.start), bestOrder(v.planner, v.belief, v.start)
		if math.Abs(got-want) > 1e-9*want {
			t.Fatalf("bottom-up %v, best of all orders %v", got, want)
		}
	})
}

func drawOpenings(t *rapid.T) Model {
	var m Model
	minutes := rapid.Float64Range(1, 60)
	openings := rapid.IntRange(0, 4).Draw(t, "openings")
	opening := func(limit int) string {
		if i := rapid.IntRange(-1, limit-1).Draw(t, "opening"); i >= 0 {
			return fmt.Sprint("o", i)
		}
		return ""
	}
	for i := range openings {
		m.Openings = append(m.Openings, Opening{ID: fmt.Sprint("o", i), Minutes: minutes.Draw(t, "open"), Inside: opening(i)})
	}
	for i := range rapid.IntRange(1, 6).Draw(t, "causes") {
		m.Causes = append(m.Causes, Cause{
			ID: fmt.Sprint("c", i), Prior: rapid.Float64Range(.01, .9).Draw(t, "prior"),
			Repair: Repair{Minutes: minutes.Draw(t, "repair"), Behind: opening(openings)},
		})
	}
	return m
}

// A hand-made case: two likely repairs behind one cover beat a likelier one outside only together.
func TestClusterOpensForTwo(t *testing.T) {
	odds := func(p float64) float64 { return p / (1 + p) }
	m := Model{
		Openings: []Opening{{ID: "cover", Minutes: 20}},
		Causes: []Cause{
			{ID: "outside", Prior: odds(.3), Repair: Repair{Minutes: 30}},
			{ID: "inside-1", Prior: odds(.35), Repair: Repair{Minutes: 5, Behind: "cover"}},
			{ID: "inside-2", Prior: odds(.35), Repair: Repair{Minutes: 5, Behind: "cover"}},
		},
	}
	e := mustEngine(t, m)
	a, err := e.Next(Evidence{})
	if err != nil {
		t.Fatal(err)
	}
	// Opening first: 25 + .65*5 + .3*30 = 37.25; outside first: 30 + .7*25 + .35*5 = 49.25.
	close(t, "expected minutes", a.ExpectedMinutes, 37.25, 1e-9)
	if a.Actions[0].ID == "outside" || !a.Exact || !a.StopTesting {
		t.Errorf("first %+v", a.Actions[0])
	}
	opened, err := e.Next(Evidence{Opened: []string{"cover"}})
	if err != nil {
		t.Fatal(err)
	}
	close(t, "with the cover open", opened.ExpectedMinutes, 17.25, 1e-9)
}
