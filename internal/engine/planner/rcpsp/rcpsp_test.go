package rcpsp_test

import (
	"reflect"
	"runtime"
	"testing"

	"pgregory.net/rapid"

	"ramprow/internal/engine/planner/check"
	"ramprow/internal/engine/planner/rcpsp"
)

// ft06 is the job shop of six jobs on six machines by Fisher and Thompson (1963):
// machine and duration of each operation. Its optimum is 55 (checked against the
// best-known table of the public JSPLIB collection). Typed from memory.
var ft06 = [6][12]int{
	{2, 1, 0, 3, 1, 6, 3, 7, 5, 3, 4, 6},
	{1, 8, 2, 5, 4, 10, 5, 10, 0, 10, 3, 4},
	{2, 5, 3, 4, 5, 8, 0, 9, 1, 1, 4, 7},
	{1, 5, 0, 5, 2, 5, 3, 3, 4, 8, 5, 9},
	{2, 9, 1, 3, 4, 5, 5, 4, 0, 3, 3, 1},
	{1, 3, 3, 3, 5, 9, 0, 10, 4, 4, 2, 1},
}

// jobShop is a shop as a project: each machine a resource of one unit.
func jobShop(rows [6][12]int) rcpsp.Project {
	p := rcpsp.Project{Capacities: []int{1, 1, 1, 1, 1, 1}}
	for _, row := range rows {
		for k := 0; k < len(row); k += 2 {
			demand := make([]int, 6)
			demand[row[k]] = 1
			a := len(p.Durations)
			p.Durations, p.Demands = append(p.Durations, row[k+1]), append(p.Demands, demand)
			p.Successors = append(p.Successors, nil)
			if k > 0 {
				p.Successors[a-1] = []int{a}
			}
		}
	}
	return p
}

func solve(t interface{ Fatalf(string, ...any) }, p rcpsp.Project, schedules int) rcpsp.Result {
	r, err := rcpsp.Solve(p, rcpsp.Options{Schedules: schedules, Seed: 7})
	if err != nil {
		t.Fatalf("%v", err)
	}
	if found := check.Project(p, r.Starts, r.Makespan); len(found) > 0 {
		t.Fatalf("the checker says: %v", found)
	}
	if r.Schedules > schedules {
		t.Fatalf("made %d schedules of %d", r.Schedules, schedules)
	}
	return r
}

func TestFisherThompson06(t *testing.T) {
	if r := solve(t, jobShop(ft06), 5000); r.Makespan != 55 || r.LowerBound != 47 {
		t.Errorf("makespan %d over %d; the optimum is 55 and the longest job 47", r.Makespan, r.LowerBound)
	}
}

func TestTheSameSeedGivesTheSame(t *testing.T) {
	a, b := solve(t, jobShop(ft06), 300), solve(t, jobShop(ft06), 300)
	if !reflect.DeepEqual(a, b) {
		t.Errorf("%v and %v", a, b)
	}
}

// TestIslands: the same number of them gives the same on any number of processors,
// and together they make as many schedules as were asked for.
func TestIslands(t *testing.T) {
	p := jobShop(ft06)
	var first rcpsp.Result
	for _, processors := range []int{1, 4} {
		old := runtime.GOMAXPROCS(processors)
		r, err := rcpsp.Solve(p, rcpsp.Options{Schedules: 1001, Seed: 3, Islands: 3})
		runtime.GOMAXPROCS(old)
		if err != nil || r.Schedules != 1001 || len(check.Project(p, r.Starts, r.Makespan)) > 0 {
			t.Fatalf("%+v, %v", r, err)
		}
		if first.Starts == nil {
			first = r
		} else if !reflect.DeepEqual(r, first) {
			t.Errorf("on %d processors %v, before %v", processors, r, first)
		}
	}
}

// TestWarmStart: what is given is never made worse, and what is not of the project
// is refused.
func TestWarmStart(t *testing.T) {
	p := jobShop(ft06)
	good := solve(t, p, 5000)
	r, err := rcpsp.Solve(p, rcpsp.Options{Schedules: 1, Seed: 9, Starts: good.Starts})
	if err != nil || r.Makespan > good.Makespan || len(check.Project(p, r.Starts, r.Makespan)) > 0 {
		t.Errorf("%d after %d, %v", r.Makespan, good.Makespan, err)
	}
	if _, err := rcpsp.Solve(p, rcpsp.Options{Schedules: 1, Starts: []int{1, 2}}); err == nil {
		t.Error("two starts were taken for 36 activities")
	}
}

// TestStopIsHeard: what was made until then is the beginning of the longer search.
func TestStopIsHeard(t *testing.T) {
	p, asked := jobShop(ft06), 0
	// It says stop once, and no more after that.
	r, err := rcpsp.Solve(p, rcpsp.Options{Seed: 7, Stop: func() bool { asked++; return asked == 40 }})
	if err != nil || asked != 40 || r.Schedules < 1 || r.Schedules > 60 || len(check.Project(p, r.Starts, r.Makespan)) > 0 {
		t.Errorf("%+v, %v", r, err)
	}
}

// TestAgainstEveryStartTime: tiny projects are solved by trying all start times,
// so nothing of the method is taken for granted.
func TestAgainstEveryStartTime(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 4).Draw(t, "n")
		resources := rapid.IntRange(0, 6).Draw(t, "resources") // more than a word holds
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
		if got, want := solve(t, p, 400).Makespan, shortest(p); got != want {
			t.Fatalf("makespan %d, and %d is possible", got, want)
		}
	})
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

func TestContradictionsAreRefused(t *testing.T) {
	good := func() rcpsp.Project {
		return rcpsp.Project{Durations: []int{1, 1}, Demands: [][]int{{1}, {1}}, Capacities: []int{1}, Successors: [][]int{{1}, nil}}
	}
	solve(t, good(), 1)
	for name, change := range map[string]func(*rcpsp.Project){
		"circle":            func(p *rcpsp.Project) { p.Successors[1] = []int{0} },
		"too much demand":   func(p *rcpsp.Project) { p.Demands[0][0] = 2 },
		"negative demand":   func(p *rcpsp.Project) { p.Demands[0][0] = -1 },
		"negative duration": func(p *rcpsp.Project) { p.Durations[0] = -1 },
		"endless":           func(p *rcpsp.Project) { p.Durations[0] = 1 << 30 },
		"capacity":          func(p *rcpsp.Project) { p.Capacities[0] = 1 << 15 },
		"no such activity":  func(p *rcpsp.Project) { p.Successors[0] = []int{2} },
		"missing demands":   func(p *rcpsp.Project) { p.Demands = p.Demands[:1] },
		"short demands":     func(p *rcpsp.Project) { p.Demands[1] = nil },
	} {
		p := good()
		change(&p)
		if _, err := rcpsp.Solve(p, rcpsp.Options{Schedules: 1}); err == nil {
			t.Errorf("%s was solved", name)
		}
	}
}
