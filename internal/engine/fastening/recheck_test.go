package fastening

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// TestRecheck: a published rule of practice for wheel fixings is to try again
// after 40 to 80 km or 30 minutes in the tightening direction without slackening
// first; the torques are invented.
func TestRecheck(t *testing.T) {
	c := Recheck{Fasteners: 5, Torque: nm(120, 10), NotBefore: noon.Add(-time.Hour)}
	gun := Tool{Name: "gun", Kind: Gun}
	for _, tc := range []struct {
		name           string
		r              Reading
		tool           Tool
		counts, failed bool
		says           string
	}{
		{"at rest", Reading{Fastener: 1, TorqueNM: 120}, wrench(), true, false, "at rest"},
		{"moved", Reading{Fastener: 2, TorqueNM: 120, Moved: true}, wrench(), false, true, "tighten the joint again"},
		{"moved long before", Reading{Fastener: 2, TorqueNM: 60, Moved: true}, wrench(), false, true, "tighten the joint again"},
		{"moved by a gun", Reading{Fastener: 3, TorqueNM: 120, Moved: true}, gun, false, true, "tighten the joint again"},
		{"a gun proves nothing", Reading{Fastener: 3, TorqueNM: 120}, gun, false, false, "proves nothing"},
		{"set too low", Reading{Fastener: 3, TorqueNM: 80}, wrench(), false, false, "does not conform: 80 N·m"},
		{"inside, not proved", Reading{Fastener: 3, TorqueNM: 129}, wrench(), false, false, "inside, but not proved"},
		{"too early", Reading{Fastener: 3, TorqueNM: 120, At: noon.Add(-2 * time.Hour)}, wrench(), false, false, "too early"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			if tc.r.At.IsZero() {
				tc.r.At = noon
			}
			j, err := c.Judge(tc.r, tc.tool)
			if err != nil {
				t.Fatal(err)
			}
			if j.Counts != tc.counts || j.Failed != tc.failed || !strings.Contains(j.Reason, tc.says) {
				t.Errorf("got %+v", j)
			}
		})
	}
	if got := c.Ask(); got != "check that it does not move at 120 N·m (110 to 130)" {
		t.Errorf("asks %q", got)
	}
}

// TestRecheckCountsOnlyWhatRests: whatever is sent, a try counts only at rest
// and proved, fails only when it moved, and nonsense is refused.
func TestRecheckCountsOnlyWhatRests(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := Recheck{Fasteners: 4, Torque: Window{Target: rapid.Float64Range(5, 190).Draw(t, "target")}}
		r := Reading{
			Fastener: rapid.IntRange(-1, 6).Draw(t, "fastener"), Moved: rapid.Bool().Draw(t, "moved"), At: noon,
			TorqueNM: rapid.OneOf(rapid.Float64(), rapid.Float64Range(0, 250), rapid.SampledFrom([]float64{math.NaN(), math.Inf(1), math.Inf(-1), -1})).Draw(t, "torque"),
		}
		j, err := c.Judge(r, wrench())
		malformed := r.Fastener < 1 || r.Fastener > 4 || !isQuantity(r.TorqueNM)
		if _, ok := errors.AsType[*ReadingError](err); ok != malformed {
			t.Fatalf("%+v: %v", r, err)
		}
		if malformed {
			return
		}
		window := c.Limits()
		inside := r.TorqueNM/1.04 >= window.Low()-1e-6 && r.TorqueNM/0.96 <= window.High()+1e-6
		if j.Failed != r.Moved || j.Counts && (r.Moved || !inside) {
			t.Fatalf("%+v in %+v: %+v", r, window, j)
		}
	})
}
