package psplib_test

import (
	"encoding/csv"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"ramprow/internal/engine/planner/check"
	"ramprow/internal/engine/planner/psplib"
	"ramprow/internal/engine/planner/rcpsp"
)

// TestDeviation measures the mean deviation over a whole set, if
// RAMPROW_PSPLIB names a folder with j30, j60 and j120 and their tables of best
// known values: 'go test -run Deviation -v', RAMPROW_SCHEDULES and RAMPROW_SETS
// choose counts and sets.
func TestDeviation(t *testing.T) {
	folder := os.Getenv("RAMPROW_PSPLIB")
	if folder == "" {
		t.Skip("RAMPROW_PSPLIB names no folder")
	}
	for _, set := range words("RAMPROW_SETS", "j30 j60 j120") {
		known := table(t, filepath.Join(folder, set+".csv"))
		for _, text := range words("RAMPROW_SCHEDULES", "1000 5000") {
			schedules, err := strconv.Atoi(text)
			if err != nil {
				t.Fatal(err)
			}
			m := measure(t, filepath.Join(folder, set), known, schedules)
			t.Logf("%s %d schedules: %.2f %% over the optimum or best known, %.2f %% over the critical path, best known hit %d of %d, %.1f us a schedule",
				set, schedules, m.best/float64(m.n), m.path/float64(m.n), m.hits, m.n, float64(m.spent.Microseconds())/float64(m.made))
		}
	}
}

type measured struct {
	n, hits, made int
	best, path    float64
	spent         time.Duration
}

func measure(t *testing.T, folder string, known map[string][2]int, schedules int) measured {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(folder, "*.sm"))
	if err != nil || len(files) != len(known) {
		t.Fatalf("%s: %d files for %d known values (%v)", folder, len(files), len(known), err)
	}
	var m measured
	var mu sync.Mutex
	var wg sync.WaitGroup
	work := make(chan string)
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for file := range work {
				name := filepath.Base(file[:len(file)-len(".sm")])
				began := time.Now()
				r := solve(t, file, schedules)
				spent := time.Since(began)
				v := known[name]
				mu.Lock()
				if r.Makespan < v[1] || r.LowerBound != v[1] {
					t.Errorf("%s: makespan %d with a critical path of %d, published %d", name, r.Makespan, r.LowerBound, v[1])
				}
				m.n, m.made, m.spent = m.n+1, m.made+r.Schedules, m.spent+spent
				m.best += 100 * float64(r.Makespan-v[0]) / float64(v[0])
				m.path += 100 * float64(r.Makespan-v[1]) / float64(v[1])
				if r.Makespan <= v[0] {
					m.hits++
				}
				mu.Unlock()
			}
		})
	}
	for _, f := range files {
		work <- f
	}
	close(work)
	wg.Wait()
	return m
}

func solve(t *testing.T, file string, schedules int) rcpsp.Result {
	f, err := os.Open(file)
	if err != nil {
		t.Error(err)
		return rcpsp.Result{}
	}
	defer func() { _ = f.Close() }()
	p, err := psplib.ReadSM(f)
	if err != nil {
		t.Errorf("%s: %v", file, err)
		return rcpsp.Result{}
	}
	r, err := rcpsp.Solve(p, rcpsp.Options{Schedules: schedules, Seed: 1})
	if err != nil {
		t.Errorf("%s: %v", file, err)
		return rcpsp.Result{}
	}
	for _, v := range check.Project(p, r.Starts, r.Makespan) {
		t.Errorf("%s: %v", file, v)
	}
	return r
}

// table reads instance, n, best known, critical path from a table of best known values.
func table(t *testing.T, file string) map[string][2]int {
	t.Helper()
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = f.Close() }()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	known := map[string][2]int{}
	for _, row := range rows[1:] {
		best, err1 := strconv.Atoi(row[2])
		path, err2 := strconv.Atoi(row[3])
		if err1 != nil || err2 != nil {
			t.Fatalf("%s: %v", file, row)
		}
		known[row[0]] = [2]int{best, path}
	}
	return known
}

// words splits an environment variable.
func words(name, otherwise string) []string {
	if text := os.Getenv(name); text != "" {
		return strings.Fields(text)
	}
	return strings.Fields(otherwise)
}
