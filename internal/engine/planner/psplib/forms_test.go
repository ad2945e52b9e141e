package psplib_test

import (
	"reflect"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"ramprow/internal/engine/planner/check"
	"ramprow/internal/engine/planner/psplib"
	"ramprow/internal/engine/planner/rcpsp"
)

// smallRCP is what small.sm says, in Patterson's form, with a line that goes on.
const smallRCP = ` 5 2
 3 4
 0 0 0 2 2 3
 3 2 1 1 4
 4 2 0
   1 4
 2 1 4 1 5
 0 0 0 0
`

func TestReadRCPGivesWhatTheOtherFormGives(t *testing.T) {
	got, err := psplib.ReadRCP(strings.NewReader(smallRCP))
	if err != nil {
		t.Fatal(err)
	}
	want, err := psplib.ReadSM(strings.NewReader(string(small(t))))
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(got.Durations, want.Durations) || !reflect.DeepEqual(got.Successors, want.Successors) || !reflect.DeepEqual(got.Capacities, want.Capacities) {
		t.Errorf("got %+v, want %+v", got, want)
	}
}

func TestDamagedRCPIsRefused(t *testing.T) {
	for text, words := range map[string]string{
		"":                 "the number of activities",
		"2 1 3 0 0 1 2":    "ends before the duration of activity 2",
		"2 1 3 0 0 x":      "number of successors of activity 1",
		"2 1 3 0 0 1 3":    "a successor of activity 1",
		"1 1 3 1 2 0 9":    "follows after the last",
		"1 1 -3 1 2 0":     "capacity of resource 1",
		"900000000 1 3 0 ": "number of activities",
	} {
		if _, err := psplib.ReadRCP(strings.NewReader(text)); err == nil || !strings.Contains(err.Error(), words) {
			t.Errorf("%q: %v, want %q", text, err, words)
		}
	}
}

func TestReadJobShop(t *testing.T) {
	p, err := psplib.ReadJobShop(strings.NewReader("instance made up\n+++\n2 3\n 0 5 2 7\n1 4 2 2 0 1\noperators 1\noperator 2\n"))
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(p.Durations, []int{5, 7, 4, 2, 1}) || !reflect.DeepEqual(p.Successors, [][]int{{1}, nil, {3}, {4}, nil}) {
		t.Errorf("read %+v", p)
	}
	// Machines 0 and 1 share the one who can run everything; all three share two.
	if !reflect.DeepEqual(p.Capacities, []int{1, 1, 1, 1, 2}) || !reflect.DeepEqual(p.Demands[1], []int{0, 0, 1, 0, 1}) || !reflect.DeepEqual(p.Demands[2], []int{0, 1, 0, 1, 1}) {
		t.Errorf("capacities %v, demands %v", p.Capacities, p.Demands)
	}
}

func TestDamagedJobShopsAreRefusedWithTheLine(t *testing.T) {
	for text, words := range map[string]string{
		"":                             "ends after 0 of 0 jobs",
		"2 2\n0 1 1 1\n":               "ends after 1 of 2",
		"1 2\n0 1 1\n":                 "line 2: job 1 has 3 numbers",
		"1 2\n0 1 2 1\n":               "needs machine 2",
		"1 2\n0 -1\n":                  "duration of -1",
		"1 2\n0 1\n0 1\n":              "line 3: more than 1 jobs",
		"1 2\n0 x\n":                   "no whole number",
		"1 2\n0 1\noperators two\n":    "line 3",
		"1 2\n0 1\noperator 2\n":       "operator 1 runs machine 2",
		"1 2\n0 1\noperators 1 2\n":    "one number of operators",
		"1 1\n0 1\noperators 999999\n": "one number of operators",
		"0 1\n":                        "numbers of jobs and machines",
		"1 2\n0 1\noperator 0\n":       "", // nobody for machine 1, which is not needed
	} {
		_, err := psplib.ReadJobShop(strings.NewReader(text))
		if words == "" && err != nil || words != "" && (err == nil || !strings.Contains(err.Error(), words)) {
			t.Errorf("%q: %v, want %q", text, err, words)
		}
	}
}

// TestOperatorsAgainstMatching: whatever machines run at once, the resources allow
// it if and only if everybody can be given an operator, by trying all ways.
func TestOperatorsAgainstMatching(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		machines := rapid.IntRange(1, 5).Draw(t, "machines")
		staff := psplib.Operators{Any: rapid.IntRange(0, 2).Draw(t, "any")}
		for range rapid.IntRange(0, 4).Draw(t, "operators") {
			staff.Machines = append(staff.Machines, rapid.SliceOfNDistinct(rapid.IntRange(0, machines-1), 1, machines, rapid.ID).Draw(t, "can"))
		}
		running := rapid.SliceOfNDistinct(rapid.IntRange(0, machines-1), 1, machines, rapid.ID).Draw(t, "running")
		shop := rcpsp.Project{Capacities: make([]int, machines)}
		for m := range machines {
			shop.Capacities[m] = 1
		}
		for _, m := range running {
			demand := make([]int, machines)
			demand[m] = 1
			shop.Durations, shop.Demands, shop.Successors = append(shop.Durations, 1), append(shop.Demands, demand), append(shop.Successors, nil)
		}
		p, err := psplib.WithOperators(shop, machines, staff)
		if err != nil {
			t.Fatal(err)
		}
		allowed := len(check.Project(p, make([]int, len(running)), 1)) == 0
		if possible := everybody(running, staff, map[int]bool{}, staff.Any); allowed != possible {
			t.Fatalf("allowed %v, possible %v", allowed, possible)
		}
	})
}

func everybody(running []int, staff psplib.Operators, taken map[int]bool, anyLeft int) bool {
	if len(running) == 0 {
		return true
	}
	if anyLeft > 0 && everybody(running[1:], staff, taken, anyLeft-1) {
		return true
	}
	for o, can := range staff.Machines {
		for _, m := range can {
			if m != running[0] || taken[o] {
				continue
			}
			taken[o] = true
			found := everybody(running[1:], staff, taken, anyLeft)
			delete(taken, o)
			if found {
				return true
			}
		}
	}
	return false
}

func FuzzReadRCP(f *testing.F) {
	f.Add(smallRCP)
	f.Add("1 0 0 0")
	f.Fuzz(func(t *testing.T, text string) {
		solvable(t, func() (rcpsp.Project, error) { return psplib.ReadRCP(strings.NewReader(text)) })
	})
}

func FuzzReadJobShop(f *testing.F) {
	f.Add("# made up\n2 2\n0 3 1 2\n1 4\noperators 1\noperator 0\n")
	f.Add("1 1\n0 0\n")
	f.Fuzz(func(t *testing.T, text string) {
		solvable(t, func() (rcpsp.Project, error) { return psplib.ReadJobShop(strings.NewReader(text)) })
	})
}

// solvable: whatever the file, reading ends, and what is read is solved, or refused.
func solvable(t *testing.T, read func() (rcpsp.Project, error)) {
	t.Helper()
	p, err := read()
	if err != nil || len(p.Durations) > 100 || check.LongestPath(p) > 1000 {
		return
	}
	r, err := rcpsp.Solve(p, rcpsp.Options{Schedules: 3})
	if err != nil {
		return
	}
	if found := check.Project(p, r.Starts, r.Makespan); len(found) > 0 {
		t.Fatalf("the checker says: %v", found)
	}
}
