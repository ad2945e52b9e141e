package curve

// Thresholds of the signatures: common practice, no source.
const (
	fallShare      = 0.05  // of the peak, that a sudden loss amounts to
	fallsOfSlip    = 3     // losses that make stick-slip
	keptShare      = 0.8   // of the peak; less at the end means that a thread gave way
	tightShare     = 0.2   // of the peak, that a free thread never needs to run down
	tightAngle     = 180.0 // degrees that it needs it before the joint is snug
	suddenFallSpan = 3.0   // degrees within which a loss is sudden
)

func (r *Report) signatures(samples []Sample) {
	r.Falls = falls(samples, fallShare*r.Peak.Torque)
	r.StickSlip = r.Falls >= fallsOfSlip
	r.Stripped = r.End.Torque < keptShare*r.Peak.Torque && r.End.Angle-r.Peak.Angle > r.Settings.Window
	r.CrossThread = r.runsTight(samples)
}

// falls counts losses of at least so much torque within a few degrees that
// were made up again later.
func falls(samples []Sample, least float64) int {
	if least <= 0 {
		return 0
	}
	n := 0
	top, bottom := samples[0], samples[0]
	fallen := false
	for _, p := range samples[1:] {
		switch {
		case !fallen && p.Torque >= top.Torque:
			top = p
		case !fallen && top.Torque-p.Torque >= least:
			fallen = p.Angle-top.Angle <= suddenFallSpan
			bottom = p
			if !fallen {
				top = p
			}
		case fallen && p.Torque < bottom.Torque:
			bottom = p
		case fallen && p.Torque-bottom.Torque >= least:
			n++
			fallen, top = false, p
		}
	}
	return n
}

// runsTight tells whether the thread took much torque over half a turn and
// more before anything was clamped.
func (r *Report) runsTight(samples []Sample) bool {
	before := r.End.Angle
	if r.Elastic != nil {
		before = r.Elastic.From
	}
	tight := 0.0
	for i := 1; i < len(samples) && samples[i].Angle < before; i++ {
		if samples[i].Torque > tightShare*r.Peak.Torque {
			tight += samples[i].Angle - samples[i-1].Angle
		}
	}
	return tight > tightAngle
}
