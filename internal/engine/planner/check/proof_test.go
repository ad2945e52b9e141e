package check_test

import (
	"testing"

	"pgregory.net/rapid"

	"ramprow/internal/engine/planner/check"
	"ramprow/internal/engine/planner/exact"
	"ramprow/internal/engine/planner/rcpsp"
)

// drawProject draws one that is scarce enough for dead ends.
func drawProject(t *rapid.T) rcpsp.Project {
	n := rapid.IntRange(4, 9).Draw(t, "n")
	p := rcpsp.Project{Durations: make([]int, n), Demands: make([][]int, n), Successors: make([][]int, n), Capacities: []int{3, 2}}
	for a := range n {
		p.Durations[a] = rapid.IntRange(0, 5).Draw(t, "duration")
		p.Demands[a] = []int{rapid.IntRange(0, 3).Draw(t, "first"), rapid.IntRange(0, 2).Draw(t, "second")}
		for s := a + 1; s < n; s++ {
			if rapid.IntRange(0, 4).Draw(t, "arc") == 0 {
				p.Successors[a] = append(p.Successors[a], s)
			}
		}
	}
	return p
}

// TestEveryProofHolds, and the same clauses do not prove that even the schedule
// which is there cannot be.
func TestEveryProofHolds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawProject(t)
		r, err := exact.Prove(p, exact.Options{Clauses: 10_000})
		if err != nil || !r.Proved() {
			t.Fatalf("%+v, %v", r, err)
		}
		if r.Makespan == 0 {
			return
		}
		if r.Proof == nil || r.Proof.Makespan != r.Makespan {
			t.Fatalf("no proof of %d", r.Makespan)
		}
		if err := check.Proof(p, *r.Proof); err != nil {
			t.Fatal(err)
		}
		tooMuch := exact.Proof{Makespan: r.Makespan + 1, Clauses: r.Proof.Clauses}
		if check.Proof(p, tooMuch) == nil {
			t.Fatalf("the schedule of %d is proved to be impossible", r.Makespan)
		}
	})
}

// TestAFalseProofIsRefused: three activities of two periods on a resource of two
// units, each of which takes one, need four periods.
func TestAFalseProofIsRefused(t *testing.T) {
	p := rcpsp.Project{Durations: []int{2, 2, 2}, Demands: [][]int{{1}, {1}, {1}}, Successors: [][]int{nil, nil, nil}, Capacities: []int{2}}
	for name, proof := range map[string]exact.Proof{
		"nothing said":     {Makespan: 5},
		"too much said":    {Makespan: 5, Clauses: [][]exact.Literal{{{Activity: 0, AtLeast: true, Time: 1}}}},
		"no such activity": {Makespan: 5, Clauses: [][]exact.Literal{{{Activity: 9}}}},
		"no such order":    {Makespan: 5, Clauses: [][]exact.Literal{{{Activity: 0, Before: 2}}}},
		"out of nothing":   {Makespan: 5, Clauses: [][]exact.Literal{nil}},
	} {
		if check.Proof(p, proof) == nil {
			t.Errorf("%s: believed", name)
		}
	}
	if err := check.Proof(p, exact.Proof{Makespan: 2}); err != nil {
		t.Errorf("no activity fits into one period: %v", err)
	}
	r, err := exact.Prove(p, exact.Options{Clauses: 100})
	if err != nil || r.Makespan != 4 || check.Proof(p, *r.Proof) != nil {
		t.Errorf("%+v, %v", r, err)
	}
}
