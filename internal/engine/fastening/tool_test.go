package fastening

import (
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"
)

// TestToolOnThatDay: what the register says about the wrench at the moment of
// the reading decides, including what was found out later.
func TestToolOnThatDay(t *testing.T) {
	days := func(n int) time.Time { return noon.AddDate(0, 0, n) }
	passed := func(n int) ToolCheck { return ToolCheck{At: days(n), Passed: true} }
	failed := func(n int) ToolCheck { return ToolCheck{At: days(n)} }
	calibrated := func(n, due int) ToolCheck {
		return ToolCheck{At: days(n), Passed: true, CalibrationDue: days(due)}
	}
	for _, c := range []struct {
		name   string
		checks []ToolCheck
		change func(*Tool)
		reason string // part of it; empty: trusted
	}{
		{"in date", []ToolCheck{calibrated(-30, 335)}, nil, ""},
		{"the day before it is due", []ToolCheck{calibrated(-364, 1)}, nil, ""},
		{"due today", []ToolCheck{calibrated(-365, 0)}, nil, "was due on 2 March 2026"},
		{"calibrated only later", []ToolCheck{calibrated(1, 366)}, nil, "no calibration at that time"},
		{"calibrated again later", []ToolCheck{calibrated(-30, 335), calibrated(5, 370)}, nil, ""},
		{"overdue, then calibrated later", []ToolCheck{calibrated(-400, -35), calibrated(5, 370)}, nil, "was due on"},
		{"never calibrated, but checked", []ToolCheck{passed(-1)}, nil, "no calibration at that time"},
		{"failed before", []ToolCheck{calibrated(-30, 335), failed(-1)}, nil, "failed its check on 1 March 2026; take another"},
		{"failed, then put right", []ToolCheck{calibrated(-30, 335), failed(-2), calibrated(-1, 364)}, nil, ""},
		{"failed afterwards", []ToolCheck{calibrated(-30, 335), failed(3)}, nil, "after this reading"},
		{"checked good, failed much later", []ToolCheck{calibrated(-30, 335), passed(2), failed(9)}, nil, ""},
		{"retired", []ToolCheck{calibrated(-30, 335)}, func(t *Tool) { t.Retired = true }, "is retired"},
		{"4999 cycles", []ToolCheck{calibrated(-330, 35)}, func(t *Tool) { t.Cycles = 4999 }, ""},
		{"5000 cycles", []ToolCheck{calibrated(-30, 335)}, func(t *Tool) { t.Cycles = 5000 }, "5000 readings"},
		{"a gun", []ToolCheck{calibrated(-30, 335)}, func(t *Tool) { t.Kind = Gun }, "proves nothing"},
		{"an angle gauge without papers", nil, func(t *Tool) { t.Kind = AngleGauge }, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			tool := wrench()
			tool.Checks = c.checks
			if c.change != nil {
				c.change(&tool)
			}
			got := tool.distrust(noon)
			if c.reason == "" && got != "" || !strings.Contains(got, c.reason) {
				t.Errorf("%q, want %q", got, c.reason)
			}
		})
	}
}

func TestToolForAStage(t *testing.T) {
	only := torque(50)
	only.Tools = []string{"long-wrench", "short-wrench"}
	barred := angle(90)
	barred.BarredTools = []string{"torque-wrench"}
	for _, c := range []struct {
		name   string
		kind   ToolKind
		stage  Stage
		torque float64
		reason string
	}{
		{"inside the range", SettingWrench, torque(50), 50, ""},
		{"at its ends", SettingWrench, torque(200), 200, ""},
		{"below", SettingWrench, torque(1), 1, "outside the range of wrench A (2 to 200 N·m)"},
		{"above", SettingWrench, torque(201), 201, "outside the range"},
		{"another tool is wanted", SettingWrench, only, 50, "done with long-wrench or short-wrench"},
		{"barred", TorqueAngle, barred, 0, "must not be used"},
		{"no angle", SettingWrench, angle(90), 0, "does not measure angles"},
		{"no torque", AngleGauge, torque(50), 50, "does not measure torque"},
		{"no torque for the floor", AngleGauge, Stage{Kind: Angle, Angle: nm(90, 5), TorqueFloor: 60}, 80, "does not measure torque"},
		{"anything releases", Gun, Stage{Kind: BackOff}, 0, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			tool := wrench()
			tool.Kind = c.kind
			got := tool.unfit(c.stage, c.torque)
			if c.reason == "" && got != "" || !strings.Contains(got, c.reason) {
				t.Errorf("%q, want %q", got, c.reason)
			}
		})
	}
}

// TestLastGood agrees with a plain search.
func TestLastGood(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tool := Tool{}
		at := noon
		want := time.Time{}
		before := noon.Add(time.Duration(rapid.IntRange(0, 50).Draw(t, "before")) * time.Hour)
		for range rapid.IntRange(0, 12).Draw(t, "checks") {
			at = at.Add(time.Duration(rapid.IntRange(1, 9).Draw(t, "hours")) * time.Hour)
			c := ToolCheck{At: at, Passed: rapid.Bool().Draw(t, "passed")}
			tool.Checks = append(tool.Checks, c)
			if c.Passed && c.At.Before(before) {
				want = c.At
			}
		}
		if got := tool.LastGood(before); !got.Equal(want) {
			t.Fatalf("last good %v, want %v", got, want)
		}
	})
}
