package main

import (
	"bytes"
	"encoding/json"
	"io"
	"strings"
	"testing"

	"ramprow/services/ramprow/bench"
)

// TestBenchForPrograms runs the smallest measurement that there is.
func TestBenchForPrograms(t *testing.T) {
	t.Setenv("TMPDIR", t.TempDir())
	var out bytes.Buffer
	root := rootCommand()
	root.SetArgs([]string{"bench", "--callers", "2", "--duration", "20ms", "--rounds", "1", "--jobs", "1", "--output", "json"})
	root.SetOut(&out)
	root.SetErr(io.Discard)
	if err := root.ExecuteContext(t.Context()); err != nil {
		t.Fatal(err)
	}
	var report bench.Report
	if err := json.Unmarshal(out.Bytes(), &report); err != nil {
		t.Fatalf("%v in %s", err, out.String())
	}
	if len(report.Throughput) != 1 || report.Throughput[0].Callers != 2 || report.Aim != nil || report.Diagnosis.Jobs != 1 {
		t.Errorf("%s", out.String())
	}
}

func TestBenchRefuses(t *testing.T) {
	t.Setenv("NATS_URL", "")
	t.Setenv("REDIS_URL", "")
	for flags, want := range map[string]string{
		"--output xml":       "use table or json",
		"--outside":          "--nats-url",
		"--callers 0":        "numbers of callers",
		"--duration 0s":      "duration above zero",
		"--rounds 0":         "rounds are 1",
		"a-workshop":         "unknown command",
		"--jobs -1 --rounds": "needs an argument",
	} {
		root := rootCommand()
		root.SetArgs(append([]string{"bench"}, strings.Fields(flags)...))
		root.SetOut(io.Discard)
		root.SetErr(io.Discard)
		if err := root.ExecuteContext(t.Context()); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v", flags, err)
		}
	}
}
