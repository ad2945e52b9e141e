package fastening

import "testing"

// TestWhereStagesEnd: the S specifications are staged ones as makers print them.
func TestWhereStagesEnd(t *testing.T) {
	used := torque(99)
	used.Parts = UsedParts
	inner := torque(13)
	inner.Fasteners = []int{2, 3}
	for _, c := range []struct {
		name  string
		joint Joint
		want  End
		ok    bool
	}{
		{"a torque", Joint{Fasteners: 4, Stages: []Stage{torque(10), torque(30)}}, End{TorqueNM: 30}, true},
		{"S1 loosened in between", Joint{Fasteners: 2, Stages: []Stage{
			torque(40), angle(90), {Kind: BackOff}, torque(40), angle(90), angle(90),
		}}, End{TorqueNM: 40, AngleDeg: 180}, true},
		{"S8 other torques by place", Joint{Fasteners: 4, Stages: []Stage{torque(7), inner}}, End{}, false},
		{"new bolts have no stage for used ones", Joint{Fasteners: 1, Parts: NewParts, Stages: []Stage{torque(20), used}}, End{TorqueNM: 20}, true},
		{"loose at the end", Joint{Fasteners: 1, Stages: []Stage{torque(20), {Kind: BackOff}}}, End{}, false},
	} {
		if got, ok := c.joint.End(); ok != c.ok || ok && got != c.want {
			t.Errorf("%s: %+v, %v", c.name, got, ok)
		}
	}
}
