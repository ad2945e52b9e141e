package fastening

import (
	"strings"
	"testing"
	"time"
)

// TestResidual: no published limit for residual torque was found, so a value
// without one is recorded and never judged; with one the four answers hold.
func TestResidual(t *testing.T) {
	now := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	good := Tool{Name: "Dial", Kind: IndicatingWrench, MinNM: 10, MaxNM: 200, Deviation: 0.04, Checks: []ToolCheck{{At: now.AddDate(0, -1, 0), Passed: true, CalibrationDue: now.AddDate(1, 0, 0)}}}
	click, short := good, good
	click.Kind = SettingWrench
	short.MaxNM = 50
	for _, c := range []struct {
		name      string
		tool      Tool
		torque    float64
		low, high float64
		want      Verdict
		says      string
	}{
		{"no limit", good, 95, 0, 0, 0, "no limit is given"},
		{"proved", good, 100, 90, 110, Conforms, "conforms"},
		// 92/1.04 = 88.46 lies below 90 (ISO 6789-1: share of the reference).
		{"inside", good, 92, 90, 110, InsideNotProved, "90 to 110 N·m"},
		{"outside", good, 89, 90, 110, OutsideNotProved, "not proved"},
		{"far off", good, 60, 90, 110, DoesNotConform, "does not conform"},
		{"only a lower limit", good, 180, 90, 0, Conforms, "90 N·m and more"},
		{"a click wrench", click, 100, 90, 110, 0, "take one that indicates"},
		{"beyond the range", short, 100, 90, 110, 0, "outside the range"},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := JudgeResidual(Residual{TorqueNM: c.torque, At: now, Low: c.low, High: c.high}, c.tool)
			if got.Verdict != c.want || !strings.Contains(got.Reason, c.says) {
				t.Errorf("got %+v", got)
			}
		})
	}
}
