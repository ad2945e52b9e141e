package terminal

import (
	"math"
	"testing"

	cataloguev1 "ramprow/proto/ramprow/catalogue/v1"
	torqueauditv1 "ramprow/proto/ramprow/torque_audit/v1"
)

func TestEntries(t *testing.T) {
	torque := &cataloguev1.Stage{Kind: cataloguev1.Stage_KIND_TORQUE, TorqueNm: 10}
	angle := &cataloguev1.Stage{Kind: cataloguev1.Stage_KIND_ANGLE, AngleDeg: 90}
	both := &cataloguev1.Stage{Kind: cataloguev1.Stage_KIND_ANGLE, TorqueNm: 40, AngleDeg: 90}
	backOff := &cataloguev1.Stage{Kind: cataloguev1.Stage_KIND_BACK_OFF}
	tests := []struct {
		text  string
		stage *cataloguev1.Stage
		want  entry
		bad   bool
	}{
		{text: "=", stage: torque, want: entry{torque: 10}},
		{text: "!", stage: torque, want: entry{torque: 10, moved: true}},
		{text: "!=", stage: torque, want: entry{torque: 10, moved: true}},
		{text: "9.8", stage: torque, want: entry{torque: 9.8}},
		{text: "9,8", stage: torque, want: entry{torque: 9.8}},
		{text: "!9.8", stage: torque, want: entry{torque: 9.8, moved: true}},
		{text: "91", stage: angle, want: entry{angle: 91}},
		{text: "=", stage: both, want: entry{torque: 40, angle: 90}},
		{text: "41 91", stage: both, want: entry{torque: 41, angle: 91}},
		{text: "=", stage: backOff, want: entry{}},
		{text: "88.5lbf·in", stage: torque, want: entry{torque: 88.5 * 0.1129848290276167, given: given{88.5, "lbf·in"}}},
		{text: "1kgf·m 91", stage: both, want: entry{torque: 9.80665, given: given{1, "kgf·m"}, angle: 91}},
		{text: "10bar", stage: torque, bad: true},
		{text: "41", stage: both, bad: true},
		{text: "", stage: torque, bad: true},
		{text: "-9", stage: torque, bad: true},
		{text: "inf", stage: torque, bad: true},
		{text: "1e3", stage: torque, bad: true},
		{text: "1.2.3", stage: torque, bad: true},
		{text: "1 2 3", stage: torque, bad: true},
		{text: "= 3", stage: torque, bad: true},
	}
	for _, tt := range tests {
		got, err := parseEntry(tt.text, tt.stage)
		if (err != nil) != tt.bad || got != tt.want {
			t.Errorf("%q at %v: %+v, %v", tt.text, tt.stage, got, err)
		}
	}
}

func TestWhichWrenchMeasures(t *testing.T) {
	click := &torqueauditv1.Wrench{Kind: torqueauditv1.WrenchKind_WRENCH_KIND_SETTING, MinNm: 2, MaxNm: 25}
	dial := &torqueauditv1.Wrench{Kind: torqueauditv1.WrenchKind_WRENCH_KIND_ANGLE}
	turn := &torqueauditv1.Wrench{Kind: torqueauditv1.WrenchKind_WRENCH_KIND_TORQUE_ANGLE, MinNm: 10, MaxNm: 135}
	gun := &torqueauditv1.Wrench{Kind: torqueauditv1.WrenchKind_WRENCH_KIND_GUN, MaxNm: 500}
	tests := []struct {
		name  string
		stage *cataloguev1.Stage
		want  [4]bool // click, dial, turn, gun
	}{
		{"in the click wrench's range only", &cataloguev1.Stage{TorqueNm: 8, TorqueMinusNm: 1, TorquePlusNm: 1}, [4]bool{true, false, false, false}},
		{"window over its end", &cataloguev1.Stage{TorqueNm: 25, TorquePlusNm: 1}, [4]bool{false, false, true, false}},
		{"window under its end", &cataloguev1.Stage{TorqueNm: 10, TorqueMinusNm: 1}, [4]bool{true, false, false, false}},
		{"angle alone", &cataloguev1.Stage{AngleDeg: 90}, [4]bool{false, true, true, false}},
		{"torque and angle", &cataloguev1.Stage{TorqueNm: 40, AngleDeg: 90}, [4]bool{false, false, true, false}},
	}
	for _, tt := range tests {
		got := [4]bool{measures(click, tt.stage), measures(dial, tt.stage), measures(turn, tt.stage), measures(gun, tt.stage)}
		if got != tt.want {
			t.Errorf("%s: %v, want %v", tt.name, got, tt.want)
		}
	}
}

func FuzzParseEntry(f *testing.F) {
	for _, seed := range []string{"=", "!", "9.8", "!40 91", "9,8"} {
		f.Add(seed)
	}
	stage := &cataloguev1.Stage{TorqueNm: 10}
	f.Fuzz(func(t *testing.T, text string) {
		e, err := parseEntry(text, stage)
		if err == nil && (e.torque < 0 || e.angle < 0 || math.IsInf(e.torque, 0) || math.IsNaN(e.torque+e.angle)) {
			t.Errorf("%q: %+v", text, e)
		}
	})
}

// TestUnitsAreConverted: 1 lbf·ft is 1.355818 N·m, 1 kgf·m 9.80665 N·m
// (NIST SP 811, appendix B); a unit that is none of torque is refused.
func TestUnitsAreConverted(t *testing.T) {
	torque := &cataloguev1.Stage{Kind: cataloguev1.Stage_KIND_TORQUE, TorqueNm: 10}
	for text, want := range map[string]float64{"1lbf·ft": 1.355818, "10ft-lb": 13.55818, "1kgf·m": 9.80665, "12,5N·m": 12.5, "88lbf·in": 9.942662} {
		if got, err := parseEntry(text, torque); err != nil || math.Abs(got.torque-want) > 5e-6*want {
			t.Errorf("%s: %v, %v; want %v", text, got.torque, err, want)
		}
	}
	for _, text := range []string{"10bar", "10lbf", "10m", "N·m", "1e3", "nan", "-1lbf·ft"} {
		if got, err := parseEntry(text, torque); err == nil {
			t.Errorf("%s is taken for %v", text, got)
		}
	}
	if _, err := parseEntry("90N·m", &cataloguev1.Stage{Kind: cataloguev1.Stage_KIND_ANGLE, AngleDeg: 90}); err == nil {
		t.Error("a torque is taken for an angle")
	}
}
