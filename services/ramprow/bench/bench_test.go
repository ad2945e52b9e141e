package bench_test

import (
	"bytes"
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"ramprow/services/ramprow/bench"
)

func small() bench.Config {
	return bench.Config{Callers: []int{1, 3}, Duration: 50 * time.Millisecond, Rounds: 3, Jobs: 4}
}

// TestRun measures for a short time. How fast it was is of no interest here,
// only that the figures fit together. That what was answered is what the log
// holds is checked by Run itself, which fails otherwise.
func TestRun(t *testing.T) {
	temporary := t.TempDir()
	t.Setenv("TMPDIR", temporary)
	report, err := bench.Run(t.Context(), small())
	if err != nil {
		t.Fatal(err)
	}
	if report.Log.Answered == 0 || report.Log.Answered != report.Log.InLog || report.Log.Commits > report.Log.InLog {
		t.Errorf("log: %+v", report.Log)
	}
	if report.PayloadBytes == 0 || len(report.Throughput) != 2 {
		t.Fatalf("%+v", report)
	}
	for _, row := range report.Throughput {
		for name, f := range map[string]bench.Figures{"commands": row.Commands, "broker": row.Broker, "bare": row.Bare} {
			if f.PerSecond <= 0 || f.P50 <= 0 || f.P50 > f.P95 || f.P95 > f.P99 {
				t.Errorf("%s at %d callers: %+v", name, row.Callers, f)
			}
		}
	}
	if d := report.Diagnosis; d.Jobs != 4 || d.P50 <= 0 || d.P99 > d.Max {
		t.Errorf("diagnosis: %+v", d)
	}
	for _, d := range report.Division {
		if d.Commands == 0 || d.Batch < 1 || d.Batch > int64(d.Callers) {
			t.Errorf("division: %+v", d)
		}
	}
	if left, err := filepath.Glob(filepath.Join(temporary, "*")); err != nil || len(left) > 0 {
		t.Errorf("left behind: %v, %v", left, err)
	}
}

func TestRunStopsWhenTold(t *testing.T) {
	temporary := t.TempDir()
	t.Setenv("TMPDIR", temporary)
	ctx, cancel := context.WithCancel(t.Context())
	c := small()
	c.Duration, c.Rounds = time.Hour, 1
	c.Progress = writer(func(string) { cancel() })
	if _, err := bench.Run(ctx, c); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v", err)
	}
	if left, err := os.ReadDir(temporary); err != nil || len(left) > 0 {
		t.Errorf("left behind: %v, %v", left, err)
	}
}

type writer func(string)

func (w writer) Write(p []byte) (int, error) {
	w(string(p))
	return len(p), nil
}

func TestConfigIsChecked(t *testing.T) {
	for name, change := range map[string]func(*bench.Config){
		"no callers":   func(c *bench.Config) { c.Callers = nil },
		"zero callers": func(c *bench.Config) { c.Callers = []int{4, 0} },
		"crowd":        func(c *bench.Config) { c.Callers = []int{1001} },
		"no time":      func(c *bench.Config) { c.Duration = 0 },
		"no rounds":    func(c *bench.Config) { c.Rounds = 0 },
		"fewer jobs":   func(c *bench.Config) { c.Jobs = -1 },
	} {
		c := small()
		change(&c)
		if _, err := bench.Run(t.Context(), c); err == nil {
			t.Errorf("%s: it ran", name)
		}
	}
}

// TestVerdict holds the words to the numbers that they stand beside.
func TestVerdict(t *testing.T) {
	for _, c := range []struct {
		aim  *bench.Aim
		want string
	}{
		{&bench.Aim{Callers: 64, Times: 3, Reached: true}, "64 callers: aim reached"},
		{&bench.Aim{Callers: 64, Times: 3}, "64 callers: aim not reached"},
		{nil, "was not measured"},
	} {
		var b bytes.Buffer
		if err := (&bench.Report{Aim: c.aim}).WriteTable(&b); err != nil || !strings.Contains(b.String(), c.want) {
			t.Errorf("aim %v is told as %q, %v", c.aim, b.String(), err)
		}
	}
}
