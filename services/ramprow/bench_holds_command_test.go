package main

import (
	"bytes"
	"encoding/json"
	"io"
	"os"
	"strings"
	"testing"

	"ramprow/services/ramprow/bench"
)

// asProgram makes this test's file the program itself, so that a test can run it
// as a process and kill it.
const asProgram = "RAMPROW_TEST_AS_PROGRAM"

func TestMain(m *testing.M) {
	if os.Getenv(asProgram) != "" {
		main()
		return
	}
	os.Exit(m.Run())
}

// TestManyFightForTheLastPieces is a small fight with real kills. What must hold
// is checked by the command itself, which fails otherwise: on hand is received
// less issued give or take the counts, nothing is promised twice, no hold is
// half made, and one order of the calls explains every answer.
func TestManyFightForTheLastPieces(t *testing.T) {
	quietEnvironment(t)
	t.Setenv("TMPDIR", t.TempDir())
	t.Setenv(asProgram, "1")
	var out, notes bytes.Buffer
	root := rootCommand()
	root.SetArgs([]string{
		"bench", "holds", "--callers", "16", "--parts", "8", "--holds", "250", "--kills", "2", "--duration", "20ms", "--output", "json",
	})
	root.SetOut(&out)
	root.SetErr(&notes)
	if err := root.ExecuteContext(t.Context()); err != nil {
		t.Fatalf("%v\n%s", err, notes.String())
	}
	var r bench.HoldsReport
	if err := json.Unmarshal(out.Bytes(), &r); err != nil {
		t.Fatalf("%v in %s", err, out.String())
	}
	if r.Given+r.Refused > r.Asked || r.Given == 0 || r.Refused == 0 || r.Given != r.Released+r.Expired+r.Issued {
		t.Errorf("nobody fought, or a hold is lost: %+v", r)
	}
	if r.Pieces.OnHand != r.Pieces.Received-r.Pieces.Issued+r.Pieces.Counted || r.Linearized != r.Calls {
		t.Errorf("it does not add up: %+v", r)
	}
	if len(r.Throughput) != 5 || r.Throughput[0].PerSecond <= 0 {
		t.Errorf("throughput: %+v", r.Throughput)
	}
	var table strings.Builder
	if err := r.WriteTable(&table); err != nil || !strings.Contains(table.String(), "everybody wants one part") {
		t.Errorf("%v in %s", err, table.String())
	}
}

func TestBenchHoldsRefuses(t *testing.T) {
	for flags, want := range map[string]string{
		"--output xml": "use table or json",
		"--callers 0":  "callers are 1",
		"--parts 1":    "parts are 2",
		"surplus":      "unknown command",
	} {
		root := rootCommand()
		root.SetArgs(append([]string{"bench", "holds"}, strings.Fields(flags)...))
		root.SetOut(io.Discard)
		root.SetErr(io.Discard)
		if err := root.ExecuteContext(t.Context()); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v", flags, err)
		}
	}
}
