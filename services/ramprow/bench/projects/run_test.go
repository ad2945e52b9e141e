package projects_test

import (
	"bytes"
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"ramprow/services/ramprow/bench/projects"
)

// The shops in testdata are of the OR-library (Beasley 1990); their optima stand in
// shops.csv and in many publications.
func shops() projects.Config {
	return projects.Config{Folders: []string{"testdata/shops"}, Schedules: []int{200, 400}, Seed: 1, Workers: 2}
}

func TestRun(t *testing.T) {
	c := shops()
	var progress bytes.Buffer
	c.Progress = &progress
	report, err := projects.Run(t.Context(), c)
	if err != nil {
		t.Fatal(err)
	}
	if len(report.Rows) != 2 || strings.Count(progress.String(), "\n") != 2 {
		t.Fatalf("%+v", report)
	}
	few, many := report.Rows[0], report.Rows[1]
	if few.Instances != 7 || few.Known != 7 || few.Schedules > 7*200 || many.OverKnown < 0 || many.Proved > many.Hits || many.PerSecond <= 0 {
		t.Errorf("%+v, %+v", few, many)
	}
	var out bytes.Buffer
	if err := report.WriteTable(&out); err != nil || !strings.Contains(out.String(), "of 7") || !strings.Contains(out.String(), "passed the checker") {
		t.Errorf("%v: %s", err, out.String())
	}
}

func TestOneInSoManyWithOperators(t *testing.T) {
	c := shops()
	c.Known, c.Every, c.Operators, c.Schedules = os.DevNull, 7, 1, []int{50}
	if _, err := projects.Run(t.Context(), c); err == nil || !strings.Contains(err.Error(), "columns") {
		t.Fatalf("an empty table was read: %v", err)
	}
	c.Known = filepath.Join(t.TempDir(), "none.csv")
	if err := os.WriteFile(c.Known, []byte("instance,best\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	var all []projects.Outcome
	c.Workers, c.Each = 1, func(o projects.Outcome) { all = append(all, o) }
	if _, err := projects.Run(t.Context(), c); err != nil {
		t.Fatal(err)
	}
	// One operator does one operation after another: all durations of ft06.
	if len(all) != 1 || all[0].Instance != "ft06" || all[0].Makespan != 197 || !all[0].Proved() {
		t.Errorf("%+v", all)
	}
}

func TestAWrongTableIsNoticed(t *testing.T) {
	c := shops()
	c.Every, c.Schedules, c.Islands = 7, []int{300}, 2
	for value, words := range map[string]string{"900,1": "shorter than what was proved", "46,0": "contradicts", "x,0": "no makespan"} {
		c.Known = filepath.Join(t.TempDir(), "known.csv")
		if err := os.WriteFile(c.Known, []byte("instance,best,proven_optimal\nft06,"+value+"\n"), 0o600); err != nil {
			t.Fatal(err)
		}
		if _, err := projects.Run(t.Context(), c); err == nil || !strings.Contains(err.Error(), words) {
			t.Errorf("%s: %v", value, err)
		}
	}
}

func TestRunRefuses(t *testing.T) {
	for name, change := range map[string]func(*projects.Config){
		"no folder":   func(c *projects.Config) { c.Folders = nil },
		"not there":   func(c *projects.Config) { c.Folders = []string{"testdata/none"} },
		"no instance": func(c *projects.Config) { c.Folders = []string{"testdata"} },
		"no budget":   func(c *projects.Config) { c.Schedules = nil },
		"negative":    func(c *projects.Config) { c.Schedules = []int{-1} },
		"seconds":     func(c *projects.Config) { c.Seconds = -1 },
		"workers":     func(c *projects.Config) { c.Workers = 5000 },
		"islands":     func(c *projects.Config) { c.Islands = -1 },
		"operators":   func(c *projects.Config) { c.Operators = -1 },
		"no table":    func(c *projects.Config) { c.Known = "testdata/none.csv" },
	} {
		c := shops()
		change(&c)
		if _, err := projects.Run(t.Context(), c); err == nil {
			t.Errorf("%s: it ran", name)
		}
	}
}

func TestRunStopsWhenTold(t *testing.T) {
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	c := shops()
	c.Schedules, c.Seconds = nil, 3600
	if _, err := projects.Run(ctx, c); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v", err)
	}
}
