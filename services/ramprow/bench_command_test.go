package main

import (
	"bytes"
	"encoding/json"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"ramprow/services/ramprow/bench"
)

// TestBenchForPrograms runs the smallest measurement that there is.
func TestBenchForPrograms(t *testing.T) {
	t.Setenv("TMPDIR", t.TempDir())
	t.Setenv("RAMPROW_NATS_SERVER", "")
	var out bytes.Buffer
	root := rootCommand()
	root.SetArgs([]string{"bench", "--callers", "2", "--sites", "1", "--duration", "20ms", "--rounds", "1", "--jobs", "1", "--output", "json"})
	root.SetOut(&out)
	root.SetErr(io.Discard)
	if err := root.ExecuteContext(t.Context()); err != nil {
		t.Fatal(err)
	}
	var report bench.Report
	if err := json.Unmarshal(out.Bytes(), &report); err != nil {
		t.Fatalf("%v in %s", err, out.String())
	}
	if len(report.Places) != 1 || len(report.Aims) != 1 {
		t.Fatalf("%s", out.String())
	}
	place := report.Places[0]
	if len(place.Throughput) != 1 || place.Throughput[0].Callers != 2 || place.Diagnosis.Jobs != 1 {
		t.Errorf("%s", out.String())
	}
}

func TestBenchRefuses(t *testing.T) {
	t.Setenv("NATS_URL", "")
	t.Setenv("RAMPROW_NATS_SERVER", "")
	t.Setenv("REDIS_URL", "")
	for flags, want := range map[string]string{
		"--output xml":       "use table or json",
		"--outside":          "--nats-url",
		"--callers 0":        "numbers of callers",
		"--sites 0":          "numbers of sites",
		"--embedded=false":   "nothing is left to measure",
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

// TestBenchSchedule solves a job shop whose optimum is its longest job's.
func TestBenchSchedule(t *testing.T) {
	folder := t.TempDir()
	if err := os.WriteFile(filepath.Join(folder, "two.jsp"), []byte("2 2\n0 3 1 2\n1 1 0 1\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	for output, want := range map[string]string{"table": "by time", "json": `"proved": 1`} {
		var out bytes.Buffer
		root := rootCommand()
		root.SetArgs([]string{"bench", "schedule", folder, "--seconds", "60", "--instances", "--output", output})
		root.SetOut(&out)
		root.SetErr(io.Discard)
		if err := root.ExecuteContext(t.Context()); err != nil || !strings.Contains(out.String(), want) {
			t.Errorf("%v: %s", err, out.String())
		}
	}
	root := rootCommand()
	root.SetArgs([]string{"bench", "schedule", folder, "--seconds", "60", "--output", "xml"})
	root.SetOut(io.Discard)
	root.SetErr(io.Discard)
	if err := root.ExecuteContext(t.Context()); err == nil {
		t.Error("xml was written")
	}
}
