package catalogue

import (
	"strings"
	"testing"

	pb "ramprow/proto/ramprow/catalogue/v1"
)

// TestHardest takes the numbers of published repair texts (staged
// specifications S1, S5 and S9 of the project's collection, read).
func TestHardest(t *testing.T) {
	torque := func(nm float64) *pb.Stage { return &pb.Stage{Kind: pb.Stage_KIND_TORQUE, TorqueNm: nm} }
	angle := func(deg float64) *pb.Stage { return &pb.Stage{Kind: pb.Stage_KIND_ANGLE, AngleDeg: deg} }
	used := torque(150)
	used.PartState = pb.Stage_PART_STATE_USED
	for _, c := range []struct {
		name    string
		stages  []*pb.Stage
		nm, deg float64
		at      int
		once    bool
	}{
		{"backed off in between", []*pb.Stage{torque(40), angle(90), {Kind: pb.Stage_KIND_BACK_OFF, AngleDeg: 360}, torque(40), angle(90), angle(90)}, 40, 180, 0, true},
		{"two torques, two angles", []*pb.Stage{torque(20), torque(40), angle(60), angle(80)}, 40, 140, 1, true},
		{"old bolt first", []*pb.Stage{used, torque(125), angle(130)}, 125, 130, 1, true},
		{"only an angle", []*pb.Stage{angle(90)}, 0, 90, -1, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			want, at := hardest(&pb.Joint{UsedOnce: c.once}, &pb.StageSet{Stages: c.stages})
			if want.TorqueNM != c.nm || want.AngleDeg != c.deg || at != c.at {
				t.Errorf("%v N·m and %v degrees at %d", want.TorqueNM, want.AngleDeg, at)
			}
		})
	}
}

func TestImplausibleTorqueIsAWarningWithTheNumbers(t *testing.T) {
	c, err := LoadFile("testdata/rules/TORQUE_IMPLAUSIBLE.yaml")
	if err != nil {
		t.Fatalf("it keeps the catalogue out: %v", err)
	}
	if text := c.Warnings()[0].String(); !strings.Contains(text, "40 N·m yields a M6x1.0 of class 8.8") || !strings.Contains(text, "maker's data") {
		t.Error(text)
	}
}
