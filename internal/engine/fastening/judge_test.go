package fastening

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"
)

func TestUnusableJoints(t *testing.T) {
	for _, c := range []struct {
		name    string
		joint   Joint
		problem string
	}{
		{"no fasteners", Joint{}, "no fasteners"},
		{"order too short", Joint{Fasteners: 2, Order: []int{1}, Stages: []Stage{torque(10)}}, "each of the fasteners 1 to 2 once"},
		{"order twice the same", Joint{Fasteners: 2, Order: []int{1, 1}, Stages: []Stage{torque(10)}}, "once"},
		{"no stages", Joint{Fasteners: 1, Order: []int{1}}, "no stage tightens or checks bolt 1"},
		{"a bolt left out", Joint{Fasteners: 3, Order: upTo(3), Stages: []Stage{{Kind: Torque, Torque: nm(10, 1), Fasteners: []int{2}}}}, "bolts 1 and 3"},
		{"released and left", Joint{Fasteners: 1, Order: []int{1}, Stages: []Stage{{Kind: BackOff}, {Kind: Wait, Wait: time.Minute}}}, "no stage tightens"},
		{"for other parts only", Joint{Fasteners: 1, Order: []int{1}, Parts: UsedParts, Stages: []Stage{{Kind: Torque, Torque: nm(10, 1), Parts: NewParts}}}, "no stage tightens"},
		{"torque of nothing", Joint{Fasteners: 1, Order: []int{1}, Stages: []Stage{{Kind: Torque}}}, "stage 1 has no torque"},
		{"angle of nothing", Joint{Fasteners: 1, Order: []int{1}, Stages: []Stage{torque(10), {Kind: Angle}}}, "stage 2 has no angle"},
		{"wait for nothing", Joint{Fasteners: 1, Order: []int{1}, Stages: []Stage{{Kind: Wait}}}, "no time to wait"},
		{"no kind", Joint{Fasteners: 1, Order: []int{1}, Stages: []Stage{{}}}, "no known kind"},
		{"not a number", Joint{Fasteners: 1, Order: []int{1}, Stages: []Stage{{Kind: Torque, Torque: nm(math.NaN(), 1)}}}, "negative or no number"},
		{"a bolt that is not there", Joint{Fasteners: 1, Order: []int{1}, Stages: []Stage{{Kind: Torque, Torque: nm(10, 1), Fasteners: []int{2}}}}, "fastener 2 of 1"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := Begin(c.joint)
			spec, ok := errors.AsType[*SpecError](err)
			if !ok || !strings.Contains(spec.Error(), c.problem) {
				t.Errorf("%v, want a SpecError with %q", err, c.problem)
			}
		})
	}
}

func TestMalformedReadings(t *testing.T) {
	track := begin(t, Joint{Fasteners: 2, Stages: []Stage{torque(10), {Kind: Wait, Wait: time.Minute}}})
	for _, c := range []struct {
		field   string
		reading Reading
	}{
		{"fastener", Reading{Fastener: 0}},
		{"fastener", Reading{Fastener: 3}},
		{"stage", Reading{Fastener: 1, Stage: 3}},
		{"stage", Reading{Fastener: 1, Stage: -1}},
		{"stage", Reading{Fastener: 1, Stage: 2}}, // a wait takes no readings
		{"torque_nm", Reading{Fastener: 1, TorqueNM: math.NaN()}},
		{"torque_nm", Reading{Fastener: 1, TorqueNM: math.Inf(1)}},
		{"angle_deg", Reading{Fastener: 1, AngleDeg: -1}},
	} {
		_, err := track.Judge(c.reading, wrench())
		if r, ok := errors.AsType[*ReadingError](err); !ok || r.Field != c.field || !strings.HasPrefix(r.Error(), c.field) {
			t.Errorf("%+v: %v, want a ReadingError of %s", c.reading, err, c.field)
		}
	}
}

// TestSimpleRule: what is inside counts, and its risk is printed; what is
// outside does not.
func TestSimpleRule(t *testing.T) {
	for _, c := range []struct {
		value  float64
		counts bool
		risk   float64
	}{
		// U is 4 % of the reading, so u is 2 %: 10.9 lies half a u below 11.
		{10, true, 0}, {10.9, true, 0.32}, {11.2, false, 0.81},
	} {
		track := begin(t, Joint{Fasteners: 1, Rule: Simple, Stages: []Stage{torque(10)}})
		j := post(t, track, Reading{Fastener: 1, TorqueNM: c.value})
		if j.Counts != c.counts || math.Abs(j.Risk-c.risk) > 0.01 {
			t.Errorf("%v: counts %v at a risk of %v, want %v at %v", c.value, j.Counts, j.Risk, c.counts, c.risk)
		}
	}
}

func TestAfterTheProof(t *testing.T) {
	track := begin(t, Joint{Fasteners: 1, Stages: []Stage{torque(10)}})
	finish(t, track, 1)
	for moved, want := range map[bool]string{false: "reopen it first", true: "moved although every stage"} {
		if j := post(t, track, Reading{Fastener: 1, TorqueNM: 10, Moved: moved}); j.Counts || !strings.Contains(j.Reason, want) {
			t.Errorf("moved %v: %+v", moved, j)
		}
	}
}

// TestAngleOutOfOrder: the bolt has been turned, so it cannot just be turned
// again when it is due.
func TestAngleOutOfOrder(t *testing.T) {
	track := begin(t, Joint{Fasteners: 2, Stages: []Stage{torque(20), angle(60)}})
	post(t, track, ideal(track, true))
	post(t, track, ideal(track, true))
	j := post(t, track, Reading{Fastener: 2, AngleDeg: 60})
	if j.Counts || !j.Restart || !strings.Contains(j.Reason, "out of order: bolt 1 is next; loosen bolt 2 fully") {
		t.Fatalf("out of order: %+v", j)
	}
	if turn, _ := track.Next(); turn.Fastener != 2 || turn.Stage != 1 {
		t.Errorf("next %+v, want bolt 2 from the first stage", turn)
	}
	finish(t, track, 3)
}

func TestBackOffTooLittle(t *testing.T) {
	track := begin(t, Joint{Fasteners: 1, Stages: []Stage{torque(20), {Kind: BackOff, Angle: Window{Target: 360}}, torque(10)}})
	post(t, track, ideal(track, true))
	if j := post(t, track, Reading{Fastener: 1, AngleDeg: 180}); j.Counts || !strings.Contains(j.Reason, "180 degrees only") {
		t.Errorf("half a turn back: %+v", j)
	}
	// A tool that does not measure the angle can still release.
	if j := postWith(t, track, Reading{Fastener: 1}, Tool{Name: "gun", Kind: Gun}); !j.Counts {
		t.Errorf("released by the gun: %s", j.Reason)
	}
}

func TestCloneGoesOnByItself(t *testing.T) {
	track := begin(t, Joint{Fasteners: 3, SoftGasket: true, Stages: []Stage{torque(10)}})
	for range 4 {
		post(t, track, ideal(track, true))
	}
	before := track.Left(noon)
	finish(t, track.Clone(), 20)
	if track.Left(noon) != before {
		t.Errorf("the original went on with its clone: %q, was %q", track.Left(noon), before)
	}
}
