package main

import (
	"bytes"
	"encoding/json"
	"io"
	"strings"
	"testing"

	"ramprow/services/ramprow/bench"
)

// A short run: every reading counts, every curve is the one that was sent, and
// the log has what was answered; the command itself fails otherwise.
func TestReadingsAreMeasured(t *testing.T) {
	quietEnvironment(t)
	t.Setenv("TMPDIR", t.TempDir())
	var out, notes bytes.Buffer
	root := rootCommand()
	root.SetArgs([]string{
		"bench", "readings", "--callers", "8", "--tools", "3", "--samples", "2500", "--duration", "40ms", "--rounds", "2", "--output", "json",
	})
	root.SetOut(&out)
	root.SetErr(&notes)
	if err := root.ExecuteContext(t.Context()); err != nil {
		t.Fatalf("%v\n%s", err, notes.String())
	}
	var r bench.ReadingsReport
	if err := json.Unmarshal(out.Bytes(), &r); err != nil {
		t.Fatalf("%v in %s", err, out.String())
	}
	if r.ReadingsInLog.InLog < 8 || r.CurvesInLog.InLog < 3 || r.CurvesInLog.InLog != r.CurvesInLog.Answered {
		t.Errorf("nobody tightened: %+v", r)
	}
	if r.Readings.PerSecond <= 0 || r.Broker.PerSecond <= 0 || r.TimesBroker <= 0 || r.OfReceived <= 0 || r.CurveSamples <= 0 {
		t.Errorf("a leg is missing: %+v", r)
	}
	var table strings.Builder
	if err := r.WriteTable(&table); err != nil || !strings.Contains(table.String(), "readings, judged and synced") {
		t.Errorf("%v in %s", err, table.String())
	}
}

func TestBenchReadingsRefuses(t *testing.T) {
	for flags, want := range map[string]string{
		"--output xml":   "use table or json",
		"--callers 0":    "callers are 1",
		"--tools 33":     "tools are 1 to 32",
		"--samples 50":   "samples of a curve are 100",
		"--duration 0s":  "above zero",
		"--duration 11s": "at most 10s",
		"--rounds 0":     "rounds are 1",
		"surplus":        "unknown command",
	} {
		root := rootCommand()
		root.SetArgs(append([]string{"bench", "readings"}, strings.Fields(flags)...))
		root.SetOut(io.Discard)
		root.SetErr(io.Discard)
		if err := root.ExecuteContext(t.Context()); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v", flags, err)
		}
	}
}
