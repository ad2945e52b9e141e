package psplib_test

import (
	"bytes"
	"os"
	"strings"
	"testing"

	"ramprow/internal/engine/planner/psplib"
	"ramprow/internal/engine/planner/rcpsp"
)

// small is a made-up instance in the public format: two activities that share a
// resource of three units and need two each, one after them, and the two dummies.
func small(t testing.TB) []byte {
	t.Helper()
	data, err := os.ReadFile("testdata/small.sm")
	if err != nil {
		t.Fatal(err)
	}
	return data
}

func TestReadSM(t *testing.T) {
	p, err := psplib.ReadSM(bytes.NewReader(small(t)))
	if err != nil {
		t.Fatal(err)
	}
	if len(p.Durations) != 5 || p.Durations[1] != 3 || p.Demands[2][0] != 2 || p.Capacities[1] != 4 || len(p.Successors[0]) != 2 || p.Successors[3][0] != 4 {
		t.Fatalf("read %+v", p)
	}
	r, err := rcpsp.Solve(p, rcpsp.Options{Schedules: 100})
	if err != nil || r.Makespan != 3+4+2 { // one after the other, then the third
		t.Errorf("makespan %d, %v", r.Makespan, err)
	}
}

func TestDamagedFilesAreRefusedWithTheLine(t *testing.T) {
	for name, c := range map[string][3]string{
		"cut off":             {"RESOURCEAVAILABILITIES:", "X", "no whole number"},
		"letters":             {"  2      1     3", "  2      1     x", "line 24"},
		"no successors":       {"   1        1          2           2   3", "   1        1          2           2", "line 14"},
		"modes":               {"  3      1     4", "  3      2     4", "several modes"},
		"last job missing":    {"   5        1          0\n", "", "4 rows for 5 jobs"},
		"job missing":         {"   4        1          1           5\n", "", "expected job 4 of 5, got 5"},
		"other resources":     {"- nonrenewable              :  0", "- nonrenewable              :  1", "nonrenewable"},
		"too many":            {"):  5", "):  500000000", "can be read"},
		"too many capacities": {"    3    4", "    3    4    5", "capacities"},
	} {
		t.Run(name, func(t *testing.T) {
			text := string(small(t))
			if !strings.Contains(text, c[0]) {
				t.Fatalf("the sample has no %q", c[0])
			}
			_, err := psplib.ReadSM(strings.NewReader(strings.Replace(text, c[0], c[1], 1)))
			if err == nil || !strings.Contains(err.Error(), c[2]) {
				t.Errorf("got %v, want %q", err, c[2])
			}
		})
	}
}

// FuzzReadSM: whatever the file, reading ends, and what is read can be solved or
// is refused.
func FuzzReadSM(f *testing.F) {
	f.Add(small(f))
	f.Fuzz(func(t *testing.T, data []byte) {
		p, err := psplib.ReadSM(bytes.NewReader(data))
		if err != nil || len(p.Durations) > 200 {
			return
		}
		if r, err := rcpsp.Solve(p, rcpsp.Options{Schedules: 3}); err == nil && r.Makespan < r.LowerBound {
			t.Fatalf("makespan %d under the bound %d", r.Makespan, r.LowerBound)
		}
	})
}
