package fastening

import (
	"testing"
	"time"
)

var noon = time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)

// wrench is a calibrated torque-angle wrench of 4 %, for 2 to 200 N·m.
func wrench() Tool {
	return Tool{
		Name: "wrench A", Class: "torque-wrench", Kind: TorqueAngle, MinNM: 2, MaxNM: 200, Deviation: 0.04,
		Checks: []ToolCheck{{At: noon.AddDate(0, -1, 0), Passed: true, CalibrationDue: noon.AddDate(0, 11, 0)}},
	}
}

func nm(target, tolerance float64) Window {
	return Window{Target: target, Minus: tolerance, Plus: tolerance}
}

func torque(target float64) Stage { return Stage{Kind: Torque, Torque: nm(target, target/10)} }

func angle(target float64) Stage { return Stage{Kind: Angle, Angle: nm(target, 4)} }

func begin(t testing.TB, j Joint) *Track {
	t.Helper()
	if j.Order == nil {
		j.Order = upTo(j.Fasteners)
	}
	track, err := Begin(j)
	if err != nil {
		t.Fatal(err)
	}
	return track
}

// post judges and applies a reading with the wrench.
func post(t testing.TB, track *Track, r Reading) Judgement {
	t.Helper()
	return postWith(t, track, r, wrench())
}

func postWith(t testing.TB, track *Track, r Reading, tool Tool) Judgement {
	t.Helper()
	if r.At.IsZero() {
		r.At = noon
	}
	j, err := track.Judge(r, tool)
	if err != nil {
		t.Fatal(err)
	}
	r.Stage, r.Verdict, r.Counts = j.Stage, j.Verdict, j.Counts
	track.Apply(r)
	return j
}

// ideal is the reading that the next turn asks for; moved tells of the click.
func ideal(track *Track, moved bool) Reading {
	turn, _ := track.Next()
	s := track.Joint().Stages[turn.Stage-1]
	return Reading{
		Fastener: turn.Fastener, TorqueNM: max(s.Torque.Target, s.TorqueFloor*1.1),
		AngleDeg: s.Angle.Target, Moved: moved, At: noon,
	}
}

// finish does everything that is asked for, with nothing moving in the rounds.
func finish(t testing.TB, track *Track, limit int) {
	t.Helper()
	for n := 0; !track.Proved(noon.AddDate(0, 0, 1)); n++ {
		if n > limit {
			t.Fatalf("not proved after %d readings; left: %s", limit, track.Left(noon))
		}
		moved := track.passes[track.current()].release
		if j := post(t, track, ideal(track, moved)); !j.Counts {
			t.Fatalf("what was asked for does not count: %s", j.Reason)
		}
	}
}
