package main

import (
	"bytes"
	"strings"
	"testing"
)

// A few days through the command as people run it, and the same seed again.
func TestSimulateAtTheCommandLine(t *testing.T) {
	tell := func() string {
		var out bytes.Buffer
		root := rootCommand()
		root.SetOut(&out)
		root.SetArgs([]string{"simulate", "--seeds", "3", "--from", "5", "--steps", "60", "--workers", "1"})
		if err := root.ExecuteContext(t.Context()); err != nil {
			t.Fatalf("%v\n%s", err, out.String())
		}
		// A slow machine tells in between how far it is, and the speed differs.
		lines := strings.Split(strings.TrimSpace(out.String()), "\n")
		counted, _, _ := strings.Cut(lines[len(lines)-1], "(")
		return counted
	}
	first := tell()
	if !strings.Contains(first, "3 days from seed 5") || !strings.Contains(first, "no rule broken") {
		t.Errorf("it says %q", first)
	}
	if again := tell(); again != first {
		t.Errorf("first %q, then %q", first, again)
	}
}
