package fastening

import (
	"testing"
	"time"
)

// FuzzJudge throws any values at a joint: it never panics, refuses what is no
// quantity, and counts only what conforms.
func FuzzJudge(f *testing.F) {
	f.Add(1, 0, 10.0, 0.0, true, int64(0))
	f.Add(2, 1, -1.0, 1e308, false, int64(1e9))
	f.Add(99, -1, 1e-320, 90.0, true, int64(-1e18))
	f.Fuzz(func(t *testing.T, fastener, stage int, torqueNM, angleDeg float64, moved bool, offset int64) {
		track := begin(t, Joint{Fasteners: 3, SoftGasket: true, Stages: []Stage{
			torque(10), {Kind: Angle, Angle: nm(40, 4), TorqueFloor: 20}, {Kind: BackOff}, {Kind: Wait, Wait: time.Minute}, torque(15),
		}})
		for range 40 {
			r := Reading{Fastener: fastener, Stage: stage, TorqueNM: torqueNM, AngleDeg: angleDeg, Moved: moved, At: noon.Add(time.Duration(offset))}
			j, err := track.Judge(r, wrench())
			if err != nil {
				if isQuantity(torqueNM) && isQuantity(angleDeg) && fastener >= 1 && fastener <= 3 && stage >= 0 && stage <= 5 && stage != 4 {
					t.Fatalf("refused %+v: %v", r, err)
				}
			} else if j.Counts && j.Verdict != Conforms {
				t.Fatalf("%+v counts: %+v", r, j)
			}
			r.Stage, r.Verdict, r.Counts = j.Stage, j.Verdict, j.Counts
			track.Apply(r)
			if turn, ok := track.Next(); ok == (track.current() == len(track.passes)) || ok && turn.Say == "" {
				t.Fatalf("next %+v", turn)
			}
			post(t, track, ideal(track, moved))
		}
	})
}
