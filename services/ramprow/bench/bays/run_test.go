package bays

import (
	"bytes"
	"strings"
	"testing"
)

// TestRun measures a tiny workshop: every plan passes the checker, searching never
// makes it worse, and the table tells all of it.
func TestRun(t *testing.T) {
	report, err := Run(t.Context(), Config{Sizes: []Size{{Bays: 2, People: 3, Jobs: 4, Operations: 5}}, Seconds: []float64{0.02}, Seed: 1, Islands: 2})
	if err != nil {
		t.Fatal(err)
	}
	m := report.Workshops[0]
	if len(m.Plans) != 2 || m.Plans[1].Cost.Total() > m.Plans[0].Cost.Total() || m.Bound <= 0 || len(m.Ill) != 2 {
		t.Errorf("measured %+v", m)
	}
	if m.Plans[0].Cost.Unplaced > 0 || m.Plans[1].Gap < 0 {
		t.Errorf("measured %+v", m)
	}
	if n := len(m.Whole); n != 3 || m.Whole[n-1].Cost.Total() > m.Whole[0].Cost.Total() || len(m.WholeIll) != 3 {
		t.Errorf("jobs as a whole: %+v, one ill: %+v", m.Whole, m.WholeIll)
	}
	var out bytes.Buffer
	if err := report.WriteTable(&out); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"2 bays, 3 people, 4 jobs, 20 operations", "times the bound", "one ill: first", "each one piece of work", "searched 20ms"} {
		if !strings.Contains(out.String(), want) {
			t.Errorf("the table does not say %q:\n%s", want, out.String())
		}
	}
}
