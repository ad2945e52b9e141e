package faults

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	logv1 "ramprow/proto/ramprow/log/v1"
	"ramprow/services/ramprow/simulate/invariants"
)

// findPrograms builds ramprow and finds the servers. Where one is missing the test
// is skipped, but never in CI.
func findPrograms(t *testing.T) Programs {
	t.Helper()
	p := Programs{Ramprow: filepath.Join(t.TempDir(), "ramprow")}
	var err error
	if p.NATS = os.Getenv("RAMPROW_NATS_SERVER"); p.NATS == "" {
		p.NATS, err = exec.LookPath("nats-server")
	}
	if err == nil {
		p.Redis, err = exec.LookPath("redis-server")
	}
	switch {
	case err != nil && os.Getenv("CI") == "true":
		t.Fatal(err)
	case err != nil:
		t.Skip("needs nats-server and redis-server: ", err)
	}
	build := exec.CommandContext(t.Context(), "go", "build", "-o", p.Ramprow, "ramprow/services/ramprow")
	if out, err := build.CombinedOutput(); err != nil {
		t.Fatalf("build ramprow: %v\n%s", err, out)
	}
	return p
}

// run lives through a configuration, and fails where a rule is broken.
func run(t *testing.T, c Config) *Report {
	t.Helper()
	var out bytes.Buffer
	c.Dir, c.Began, c.Progress = t.TempDir(), time.Now(), &out
	report, err := Run(t.Context(), c)
	if report != nil {
		if err := report.Write(&out); err != nil {
			t.Error(err)
		}
	}
	t.Log(out.String())
	if err != nil {
		t.Fatal(err)
	}
	if len(report.Violations) > 0 {
		t.Errorf("%d rules are broken", len(report.Violations))
	}
	return report
}

// A short run of what 'ramprow faults' does. With seed 1515 the replica at work
// and the only process of a role are killed, the broker is killed, stopped and
// restarted, Redis is emptied, and everything is killed at once.
func TestFaultsLoseNothing(t *testing.T) {
	c := Config{Programs: findPrograms(t), Seed: 1515, Faults: 10, Brokers: 1, Commands: 600, Sites: 2, Callers: 3, Cars: 2}
	report := run(t, c)
	if len(report.Struck) != c.Faults || report.Commands < c.Commands || report.Repeats == 0 || report.Models != 8 {
		t.Errorf("%d faults, %d commands, %d repeats, %d read models", len(report.Struck), report.Commands, report.Repeats, report.Models)
	}
}

func TestASeedGivesTheSamePlan(t *testing.T) {
	c := Config{Seed: 9, Faults: 200, Commands: 20_000, Brokers: 3}
	first := plan(c)
	if !slices.Equal(first, plan(c)) {
		t.Error("the same seed gives two plans")
	}
	kinds := map[string]bool{}
	for i, s := range first {
		kinds[s.kind(3)] = true
		if i > 0 && s.At <= first[i-1].At || s.Hold < 1 || s.At > c.Commands {
			t.Errorf("%v comes after %v", s, first[max(i-1, 0)])
		}
	}
	if len(kinds) < 18 {
		t.Errorf("200 faults are of %d kinds only", len(kinds))
	}
	c.Seed++
	if slices.Equal(first, plan(c)) {
		t.Error("another seed gives the same plan")
	}
}

// What nobody asked for is found in a log, and an attempt that came late is counted.
func TestStrangersAreFound(t *testing.T) {
	f := &field{tally: newTally(), report: &Report{}}
	at := seat{role: "job", site: "site-1"}
	commit := func(id string) invariants.Commit {
		return invariants.Commit{Sequence: 4, Commit: &logv1.Commit{Entries: []*logv1.Entry{
			{Cause: &logv1.Entry_Command{Command: &logv1.CommandCause{RequestId: id}}},
		}}}
	}
	f.tally.asks(at, "mine")
	f.tally.asks(at, "refused")
	f.tally.refusedFor(at, "refused", nil)
	logs := invariants.Logs{"job": {commit("mine"), commit("refused"), commit("stranger")}}
	found := f.strangers("site-1", logs)
	if len(found) != 1 || !strings.Contains(found[0], "stranger at sequence 4") || f.report.Late != 1 {
		t.Errorf("found %v, %d late", found, f.report.Late)
	}
	if found := f.strangers("site-2", logs); len(found) != 3 {
		t.Errorf("at another site %v", found)
	}
}

// A violation is told with the seed, what happened, what did not, and where the logs stood.
func TestAViolationIsToldWithItsHistory(t *testing.T) {
	planned := plan(Config{Seed: 3, Faults: 2, Commands: 100, Brokers: 1})
	r := &Report{Seed: 3, Planned: planned, Violations: []string{"site-1: once: gone"}, Struck: []Struck{{
		strike: planned[0], Kind: planned[0].kind(1), Commands: 41, Logs: map[seat]uint64{{role: "job", site: "site-1"}: 17}, Whole: time.Second,
	}}}
	var out bytes.Buffer
	if err := r.Write(&out); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"seed 3", "site-1: once: gone", "after    41 commands", "job at site-1: sequence 17", "not reached:   2."} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("%q is not in\n%s", want, out.String())
		}
	}
}
