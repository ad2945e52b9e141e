package main

import (
	"bytes"
	"encoding/json"
	"io"
	"strings"
	"testing"

	"ramprow/services/ramprow/bench"
)

// A few pages on a short day: each is opened over HTTP, told of commands, and made anew.
func TestPagesFollowADay(t *testing.T) {
	quietEnvironment(t)
	t.Setenv("TMPDIR", t.TempDir())
	t.Setenv(asProgram, "1")
	var out, notes bytes.Buffer
	root := rootCommand()
	root.SetArgs([]string{
		"bench", "pages", "--pages", "10", "--speed", "120", "--warm", "3s", "--alone", "100ms", "--duration", "2s", "--output", "json",
	})
	root.SetOut(&out)
	root.SetErr(&notes)
	if err := root.ExecuteContext(t.Context()); err != nil {
		t.Fatalf("%v\n%s", err, notes.String())
	}
	var r bench.PagesReport
	if err := json.Unmarshal(out.Bytes(), &r); err != nil {
		t.Fatalf("%v in %s", err, out.String())
	}
	open := 0
	for _, k := range r.Kinds {
		open += k.Open
		if k.First.Count != k.Open || k.MostBytes == 0 || k.MostBytes > 150_000 {
			t.Errorf("%+v", k)
		}
	}
	if open != 10 || r.Told.Count == 0 || r.Shown.Count == 0 || r.Open.ResidentMB <= 0 {
		t.Errorf("nobody looks, or nothing is told: %+v", r)
	}
	var table strings.Builder
	if err := r.WriteTable(&table); err != nil || !strings.Contains(table.String(), "with 10 open") {
		t.Errorf("%v in %s", err, table.String())
	}
}

func TestBenchPagesRefuses(t *testing.T) {
	for flags, want := range map[string]string{
		"--output xml":  "use table or json",
		"--pages 0":     "pages are 1",
		"--pages 2000":  "pages are 1",
		"--speed 0.5":   "speed is 1",
		"--duration 0s": "one above zero",
		"surplus":       "unknown command",
	} {
		root := rootCommand()
		root.SetArgs(append([]string{"bench", "pages"}, strings.Fields(flags)...))
		root.SetOut(io.Discard)
		root.SetErr(io.Discard)
		if err := root.ExecuteContext(t.Context()); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v", flags, err)
		}
	}
}
