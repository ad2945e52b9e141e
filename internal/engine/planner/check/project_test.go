package check_test

import (
	"strings"
	"testing"

	"ramprow/internal/engine/planner/check"
	"ramprow/internal/engine/planner/rcpsp"
)

func TestProjectFaultsAreFound(t *testing.T) {
	p := rcpsp.Project{
		Durations: []int{2, 2, 1}, Demands: [][]int{{2}, {1}, {1}}, Capacities: []int{2}, Successors: [][]int{{2}, nil, nil},
	}
	for _, c := range []struct {
		starts   []int
		makespan int
		words    string
	}{
		{[]int{0, 2, 2}, 4, ""},
		{[]int{0, 2, 1}, 4, "before activity 0 is done"},
		{[]int{0, 1, 3}, 4, "brings resource 0 to 3"},
		{[]int{0, 2, 2}, 3, "outside 0 to 3"},
		{[]int{-1, 2, 2}, 4, "outside"},
		{[]int{0, 2}, 4, "2 starts"},
	} {
		found := check.Project(p, c.starts, c.makespan)
		if c.words == "" {
			if len(found) > 0 {
				t.Errorf("%v: %v", c.starts, found)
			}
			continue
		}
		if len(found) == 0 || !strings.Contains(found[0].String(), c.words) {
			t.Errorf("%v: found %v, want %q", c.starts, found, c.words)
		}
	}
}
