package bench_test

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"ramprow/services/ramprow/bench"
)

func small() bench.Config {
	return bench.Config{Callers: []int{1, 3}, Sites: []int{1, 2}, Duration: 50 * time.Millisecond, Rounds: 3, Jobs: 4}
}

// TestRun measures for a short time. How fast it was is of no interest here,
// only that the figures fit together. That what was answered is what the log
// holds is checked by Run itself, which fails otherwise.
func TestRun(t *testing.T) {
	temporary := t.TempDir()
	t.Setenv("TMPDIR", temporary)
	c := small()
	c.Profiles = t.TempDir()
	all, err := bench.Run(t.Context(), c)
	if err != nil {
		t.Fatal(err)
	}
	if len(all.Places) != 1 || all.Places[0].Place != bench.Embedded {
		t.Fatalf("places: %+v", all.Places)
	}
	report := all.Places[0]
	if report.Log.Answered == 0 || report.Log.Answered != report.Log.InLog || report.Log.Commits > report.Log.InLog {
		t.Errorf("log: %+v", report.Log)
	}
	if report.PayloadBytes == 0 || len(report.Throughput) != 3 { // two sites cannot share one caller
		t.Fatalf("%+v", report)
	}
	for _, row := range report.Throughput {
		for name, f := range map[string]bench.Figures{"commands": row.Commands, "broker": row.Broker, "bare": row.Bare} {
			if f.PerSecond <= 0 || f.P50 <= 0 || f.P50 > f.P95 || f.P95 > f.P99 || f.Bytes <= 0 || f.Allocs <= 0 || f.CPU <= 0 {
				t.Errorf("%s at %d callers: %+v", name, row.Callers, f)
			}
		}
		if row.Commands.Allocs < row.Bare.Allocs {
			t.Errorf("a command takes %.0f allocations, and the call alone %.0f", row.Commands.Allocs, row.Bare.Allocs)
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
	for _, kind := range []string{"cpu", "allocs", "block", "mutex", "diagnosis-cpu"} {
		if file, err := os.Stat(filepath.Join(c.Profiles, "embedded-"+kind+".prof")); err != nil || file.Size() == 0 {
			t.Errorf("profile of %s: %v", kind, err)
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
		"no sites":     func(c *bench.Config) { c.Sites = nil },
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
		aims []bench.Aim
		want string
	}{
		{[]bench.Aim{{What: "bays", Wanted: 3, Measured: 3.1, Reached: true}}, "at least 3    3.10    reached"},
		{[]bench.Aim{{What: "bays", Wanted: 3, AtMost: true, Measured: 3.1}}, "at most 3    3.10    not reached"},
		{nil, "No aim was measured"},
	} {
		var b bytes.Buffer
		err := (&bench.Report{Aims: c.aims}).WriteTable(&b)
		if told := b.String(); err != nil || !strings.Contains(strings.Join(strings.Fields(told), " "), strings.Join(strings.Fields(c.want), " ")) {
			t.Errorf("aims %v are told as %q, %v", c.aims, told, err)
		}
	}
}

// TestPrograms measures with a broker that is started for it, if there is one.
func TestPrograms(t *testing.T) {
	nats, err := exec.LookPath(cmp.Or(os.Getenv("RAMPROW_NATS_SERVER"), "nats-server"))
	if err != nil {
		t.Skip("no nats-server to start:", err)
	}
	c := small()
	c.Sites, c.Rounds, c.Jobs = []int{1}, 1, 0
	c.Places = []bench.Place{{Name: "own process", Backend: bench.Programs{NATS: nats}.Backend}}
	report, err := bench.Run(t.Context(), c)
	if err != nil {
		t.Fatal(err)
	}
	if log := report.Places[0].Log; log.Answered == 0 || log.Answered != log.InLog {
		t.Errorf("log: %+v", log)
	}
}

func TestAProgramThatEndsIsTold(t *testing.T) {
	c := small()
	c.Places = []bench.Place{{Name: "own process", Backend: bench.Programs{NATS: "true"}.Backend}}
	if _, err := bench.Run(t.Context(), c); err == nil || !strings.Contains(err.Error(), "true ended at once") {
		t.Errorf("got %v", err)
	}
}
