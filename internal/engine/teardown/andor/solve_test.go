package andor

import (
	"errors"
	"math"
	"testing"

	"pgregory.net/rapid"
)

// bruteForce tries every subset of the actions.
func bruteForce(p Problem) float64 {
	best := math.Inf(1)
	for set := range 1 << len(p.Actions) {
		cost := 0.0
		for a := range p.Actions {
			if set&(1<<a) != 0 {
				cost += p.Actions[a].Cost
			}
		}
		if cost >= best {
			continue
		}
		reached, _ := forward(p, func(a int) bool { return set&(1<<a) != 0 })
		if all(p.Goal, reached) {
			best = cost
		}
	}
	return best
}

func drawProblem(t *rapid.T) Problem {
	p := Problem{Facts: rapid.IntRange(2, 10).Draw(t, "facts")}
	fact := rapid.IntRange(0, p.Facts-1)
	actions := rapid.IntRange(1, 11).Draw(t, "actions")
	for range actions {
		p.Actions = append(p.Actions, Action{
			Pre:  rapid.SliceOfN(fact, 0, 3).Draw(t, "pre"),
			Add:  rapid.SliceOfN(fact, 1, 2).Draw(t, "add"),
			Cost: float64(rapid.IntRange(0, 6).Draw(t, "cost")),
		})
	}
	p.Start = rapid.SliceOfN(fact, 0, 1).Draw(t, "start")
	p.Goal = rapid.SliceOfN(fact, 1, 4).Draw(t, "goal")
	return p
}

func TestSolveEqualsBruteForce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawProblem(t)
		want := bruteForce(p)
		got, err := Solve(p, 100_000)
		var unreachable *UnreachableError
		if math.IsInf(want, 1) {
			if !errors.As(err, &unreachable) {
				t.Fatalf("want unreachable, got %v, %v", got, err)
			}
			return
		}
		if err != nil {
			t.Fatal(err)
		}
		if !got.Proved || math.Abs(got.Cost-want) > 1e-9 || math.Abs(got.Bound-want) > 1e-9 {
			t.Fatalf("cost %v bound %v proved %v, want %v", got.Cost, got.Bound, got.Proved, want)
		}
		checkExecutable(t, p, got)
	})
}

// checkExecutable does the plan's actions in their order.
func checkExecutable(t *rapid.T, p Problem, s Solution) {
	now := make([]bool, p.Facts)
	for _, f := range p.Start {
		now[f] = true
	}
	for _, a := range s.Actions {
		if !all(p.Actions[a].Pre, now) {
			t.Fatalf("action %d is done before its preconditions", a)
		}
		for _, f := range p.Actions[a].Add {
			now[f] = true
		}
	}
	if !all(p.Goal, now) {
		t.Fatal("the plan does not reach the goal")
	}
}

func TestBudgetGivesHonestBounds(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawProblem(t)
		want := bruteForce(p)
		got, err := Solve(p, 1)
		if err != nil {
			return
		}
		if got.Cost < want-1e-9 || got.Bound > want+1e-9 {
			t.Fatalf("optimum %v is not within [%v, %v]", want, got.Bound, got.Cost)
		}
		if got.Proved != (math.Abs(got.Cost-got.Bound) < 1e-9) {
			t.Fatalf("proved %v with cost %v and bound %v", got.Proved, got.Cost, got.Bound)
		}
	})
}
