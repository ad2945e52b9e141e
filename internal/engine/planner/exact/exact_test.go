package exact_test

import (
	"slices"
	"testing"

	"pgregory.net/rapid"

	"ramprow/internal/engine/planner/check"
	"ramprow/internal/engine/planner/exact"
	"ramprow/internal/engine/planner/rcpsp"
)

func draw(t *rapid.T) rcpsp.Project {
	n := rapid.IntRange(1, 4).Draw(t, "n")
	resources := rapid.IntRange(0, 3).Draw(t, "resources")
	p := rcpsp.Project{Durations: make([]int, n), Demands: make([][]int, n), Successors: make([][]int, n)}
	for range resources {
		p.Capacities = append(p.Capacities, rapid.IntRange(1, 4).Draw(t, "capacity"))
	}
	for a := range n {
		p.Durations[a] = rapid.IntRange(0, 3).Draw(t, "duration")
		p.Demands[a] = make([]int, resources)
		for r := range resources {
			p.Demands[a][r] = rapid.IntRange(0, p.Capacities[r]).Draw(t, "demand")
		}
		for s := a + 1; s < n; s++ {
			if rapid.IntRange(0, 3).Draw(t, "arc") == 0 {
				p.Successors[a] = append(p.Successors[a], s)
			}
		}
	}
	return p
}

// TestAgainstEveryStartTime: tiny projects are solved by trying all start times.
func TestAgainstEveryStartTime(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := draw(t)
		r, err := exact.Prove(p, exact.Options{})
		if err != nil {
			t.Fatal(err)
		}
		if found := check.Project(p, r.Starts, r.Makespan); len(found) > 0 {
			t.Fatalf("the checker says: %v", found)
		}
		if want := shortest(p); r.Makespan != want || r.Bound != want {
			t.Fatalf("makespan %d, bound %d, and %d is the shortest", r.Makespan, r.Bound, want)
		}
	})
}

// TestABoundIsOneEvenIfStopped: whenever the search is stopped, what it says holds.
func TestABoundIsOneEvenIfStopped(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := draw(t)
		warm, err := rcpsp.Solve(p, rcpsp.Options{Schedules: 1})
		if err != nil {
			t.Fatal(err)
		}
		most := rapid.IntRange(1, 6).Draw(t, "conflicts")
		r, err := exact.Prove(p, exact.Options{Starts: warm.Starts, Conflicts: most})
		if err != nil {
			t.Fatal(err)
		}
		want := shortest(p)
		if found := check.Project(p, r.Starts, r.Makespan); len(found) > 0 || r.Bound > want || r.Makespan < want || r.Makespan > warm.Makespan {
			t.Fatalf("makespan %d, bound %d, and %d is the shortest (%v)", r.Makespan, r.Bound, want, found)
		}
		if r.Conflicts > most {
			t.Fatalf("%d conflicts of %d", r.Conflicts, most)
		}
	})
}

// TestAGoodStartChangesNothing: with a schedule to begin with, which may be the shortest
// already, a project has the same shortest length as without, and what is found is a
// schedule. Projects are large enough for conflicts before anything is guessed.
func TestAGoodStartChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawLarger(t)
		alone, err := exact.Prove(p, exact.Options{})
		if err != nil {
			t.Fatal(err)
		}
		warm, err := rcpsp.Solve(p, rcpsp.Options{Schedules: 200})
		if err != nil {
			t.Fatal(err)
		}
		r, err := exact.Prove(p, exact.Options{Starts: warm.Starts, Clauses: 5000})
		if err != nil {
			t.Fatal(err)
		}
		if found := check.Project(p, r.Starts, r.Makespan); len(found) > 0 || r.Makespan != alone.Makespan || r.Bound != alone.Bound {
			t.Fatalf("makespan %d, bound %d; without a start %d, %d (%v)", r.Makespan, r.Bound, alone.Makespan, alone.Bound, found)
		}
		if r.Proof == nil {
			return // it is longer than that
		}
		if err := check.Proof(p, *r.Proof); err != nil {
			t.Fatalf("the checker does not follow: %v", err)
		}
	})
}

// TestTheLastConflictIsTheLast: here everything is contradicted before anything is guessed,
// since what is there is the shortest already, while ends are still tried from below. What
// was looked for after that was no schedule. By hand: 0, then 1 and 2 in either order, 3, 4,
// then 5, 6 and 7, of which no two fit at once but for 6 and 7, and 7 follows 6: 1 + 6 + 2 + 3.
func TestTheLastConflictIsTheLast(t *testing.T) {
	p := rcpsp.Project{
		Durations:  []int{1, 3, 3, 1, 1, 1, 1, 1},
		Demands:    [][]int{{0}, {2}, {3}, {0}, {0}, {3}, {2}, {2}},
		Successors: [][]int{{1, 2, 3, 4}, {3, 4, 5}, {3, 4, 5, 6}, {4, 5, 6, 7}, {5, 6, 7}, nil, {7}, nil},
		Capacities: []int{4},
	}
	r, err := exact.Prove(p, exact.Options{Starts: []int{0, 1, 4, 7, 8, 9, 10, 11}})
	if err != nil {
		t.Fatal(err)
	}
	if found := check.Project(p, r.Starts, r.Makespan); len(found) > 0 || !r.Proved() || r.Makespan != 12 {
		t.Errorf("makespan %d, bound %d, and 12 is the shortest (%v)", r.Makespan, r.Bound, found)
	}
}

func drawLarger(t *rapid.T) rcpsp.Project {
	n := rapid.IntRange(6, 11).Draw(t, "n")
	p := rcpsp.Project{Capacities: []int{4, 5}, Durations: make([]int, n), Demands: make([][]int, n), Successors: make([][]int, n)}
	for a := range n {
		p.Durations[a] = rapid.IntRange(1, 9).Draw(t, "duration")
		p.Demands[a] = []int{rapid.IntRange(0, 4).Draw(t, "first"), rapid.IntRange(0, 5).Draw(t, "second")}
		for s := a + 1; s < min(n, a+5); s++ {
			if rapid.IntRange(0, 3).Draw(t, "arc") == 0 {
				p.Successors[a] = append(p.Successors[a], s)
			}
		}
	}
	return p
}

// ft06 is the job shop by Fisher and Thompson (1963), as in the OR-library; its
// optimum is 55. On a shop whose machines have two units each the answer is held
// against the longest job, 47, since that is reached.
var ft06 = [6][12]int{
	{2, 1, 0, 3, 1, 6, 3, 7, 5, 3, 4, 6},
	{1, 8, 2, 5, 4, 10, 5, 10, 0, 10, 3, 4},
	{2, 5, 3, 4, 5, 8, 0, 9, 1, 1, 4, 7},
	{1, 5, 0, 5, 2, 5, 3, 3, 4, 8, 5, 9},
	{2, 9, 1, 3, 4, 5, 5, 4, 0, 3, 3, 1},
	{1, 3, 3, 3, 5, 9, 0, 10, 4, 4, 2, 1},
}

func shop(units int) rcpsp.Project {
	p := rcpsp.Project{Capacities: slices.Repeat([]int{units}, 6)}
	for _, row := range ft06 {
		for k := 0; k < len(row); k += 2 {
			demand := make([]int, 6)
			demand[row[k]] = 1
			a := len(p.Durations)
			p.Durations, p.Demands, p.Successors = append(p.Durations, row[k+1]), append(p.Demands, demand), append(p.Successors, nil)
			if k > 0 {
				p.Successors[a-1] = []int{a}
			}
		}
	}
	return p
}

func TestFisherThompson06IsProved(t *testing.T) {
	for units, want := range map[int]int{1: 55, 2: 47} {
		p := shop(units)
		r, err := exact.Prove(p, exact.Options{})
		if err != nil || r.Makespan != want || !r.Proved() {
			t.Errorf("%d units: makespan %d, bound %d, want %d (%v)", units, r.Makespan, r.Bound, want, err)
		}
		if found := check.Project(p, r.Starts, r.Makespan); len(found) > 0 {
			t.Errorf("%d units: %v", units, found)
		}
	}
}

func TestStopIsHeard(t *testing.T) {
	asked := 0
	r, err := exact.Prove(shop(1), exact.Options{Stop: func() bool { asked++; return true }})
	if err != nil || asked == 0 || r.Proved() || r.Bound < 47 {
		t.Errorf("asked %d times, %+v, %v", asked, r, err)
	}
}

func TestTooLargeIsRefused(t *testing.T) {
	p := rcpsp.Project{Durations: []int{1 << 21, 1 << 21}, Demands: [][]int{nil, nil}, Successors: [][]int{nil, nil}}
	if _, err := exact.Prove(p, exact.Options{}); err == nil {
		t.Error("was tried")
	}
}

// shortest tries makespans from 0 up, each with all start times.
func shortest(p rcpsp.Project) int {
	starts := make([]int, len(p.Durations))
	var try func(a, makespan int) bool
	try = func(a, makespan int) bool {
		if a == len(starts) {
			return len(check.Project(p, starts, makespan)) == 0
		}
		for starts[a] = 0; starts[a]+p.Durations[a] <= makespan; starts[a]++ {
			if try(a+1, makespan) {
				return true
			}
		}
		return false
	}
	for makespan := 0; ; makespan++ {
		if try(0, makespan) {
			return makespan
		}
	}
}
