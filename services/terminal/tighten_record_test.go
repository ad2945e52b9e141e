package terminal

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"ramprow/internal/engine/fastening/record"
)

func TestVerifyNeedsNoServer(t *testing.T) {
	alone(t)
	sealed, err := record.Seal(record.Record{
		Job: record.Job{Job: "jobs/17", Vehicle: "AB 123"}, Readings: []record.Reading{{Number: 1, Torque: 10.25}, {Number: 2, Torque: 10.5}},
		Result: record.Result{State: "complete"},
	})
	if err != nil {
		t.Fatal(err)
	}
	name := filepath.Join(t.TempDir(), "record.json")
	write := func(data []byte) {
		if err := os.WriteFile(name, data, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	write(sealed.JSON)
	out, err := execute(t, "", "tighten", "verify", name, "--sum", sealed.Sum)
	if err != nil || !strings.Contains(out, "jobs/17 (AB 123), complete, 2 readings: unchanged\nsum "+sealed.Sum) {
		t.Errorf("got %q, %v", out, err)
	}
	if _, err := execute(t, "", "tighten", "verify", name, "--sum", strings.Repeat("0", 64)); err == nil || !strings.Contains(err.Error(), "not the one on the page") {
		t.Errorf("another sum: %v", err)
	}
	write(bytes.Replace(sealed.JSON, []byte("10.5"), []byte("10.6"), 1))
	if _, err := execute(t, "", "tighten", "verify", name); err == nil || !strings.Contains(err.Error(), "reading 2 was changed") {
		t.Errorf("a changed reading: %v", err)
	}
	if _, err := execute(t, "", "tighten", "verify", name+"x"); err == nil {
		t.Error("a file that is not there is proved")
	}
}
