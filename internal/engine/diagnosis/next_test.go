package diagnosis

import (
	"fmt"
	"math"
	"testing"
)

// The test sequencing example of Pattipati & Alexandridis; priors and test matrix are from memory,
// the optimum 2.18 agrees with the literature. Identification is made to precede repair by a repair
// that takes 1000 minutes, so that a wrong one is never worth it.
func TestNextIsOptimalWhereGreedyIsNot(t *testing.T) {
	priors := []float64{.70, .01, .02, .10, .05, .12}
	rows := []string{"00000", "01001", "00110", "10011", "11000", "11110"}
	const repair = 1000
	e := mustEngine(t, matrixModel(priors, rows, repair))
	a, err := e.Next(Evidence{})
	if err != nil {
		t.Fatal(err)
	}
	if !a.Exact || math.Abs(a.ExpectedMinutes-repair-2.18) > 1e-9 {
		t.Errorf("expected minutes %v (exact %v), want %v", a.ExpectedMinutes-repair, a.Exact, 2.18)
	}
	if a.Actions[0].ID != "t2" {
		t.Errorf("first action %q, want t2", a.Actions[0].ID)
	}
	for _, x := range a.Actions {
		t.Log(x.Kind, x.ID, x.ExpectedMinutes, x.Reason)
	}
}

// matrixModel is a model of perfect tests: one suspect per row, one test per column, unit costs. Given that
// exactly one cause is present, odds of the priors stand to one another as the given weights.
func matrixModel(weights []float64, rows []string, repair float64) Model {
	var m Model
	tests := make([]Test, len(rows[0]))
	for i, w := range weights {
		id := fmt.Sprint("s", i)
		m.Causes = append(m.Causes, Cause{ID: id, Title: id, Prior: w / (1 + w), Repair: Repair{Title: "Mend " + id, Minutes: repair}})
		for k := range tests {
			if rows[i][k] == '1' {
				tests[k].Positive = append(tests[k].Positive, Effect{id, 1})
			}
		}
	}
	for k := range tests {
		tests[k].ID, tests[k].Title, tests[k].Minutes = fmt.Sprint("t", k+1), fmt.Sprint("Test ", k+1), 1
		m.Tests = append(m.Tests, tests[k])
	}
	return m
}

func mustEngine(t *testing.T, m Model) *Engine {
	t.Helper()
	e, err := New(m)
	if err != nil {
		t.Fatal(err)
	}
	return e
}
