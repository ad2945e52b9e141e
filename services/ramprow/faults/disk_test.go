package faults

import (
	"bytes"
	"errors"
	"os"
	"testing"
	"time"

	"ramprow/internal/platform/sitelog"
)

// TestAFullDiskLosesNothing takes half a minute, and the right to mount.
func TestAFullDiskLosesNothing(t *testing.T) {
	if os.Getenv("RAMPROW_FAULTS_LONG") == "" {
		t.Skip("set RAMPROW_FAULTS_LONG=1 to let a disk run full")
	}
	var out bytes.Buffer
	c := Config{
		Programs: findPrograms(t), Dir: t.TempDir(), Seed: 2, Brokers: 1, Commands: 400, Sites: 1, Callers: 4, Cars: 2,
		Began: time.Now(), Progress: &out,
	}
	report, err := FullDisk(t.Context(), c)
	if errors.Is(err, ErrNoMount) {
		t.Skip(err)
	}
	if err != nil {
		t.Fatal(err)
	}
	if err := report.Write(&out); err != nil {
		t.Error(err)
	}
	t.Log(out.String())
	if len(report.Violations) > 0 {
		t.Errorf("%d rules are broken", len(report.Violations))
	}
	if report.Turned[sitelog.ReasonLogUnavailable] == 0 {
		t.Errorf("callers were not told why: %v", report.Turned)
	}
	if report.Commands < c.Commands {
		t.Errorf("only %d commands were acknowledged", report.Commands)
	}
}
