package curve

import "fmt"

// Remarks says in words what a curve shows, with the thresholds that were used.
// What was not seen is said too: it is an answer.
func (r Report) Remarks() []string {
	var out []string
	say := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	if r.Elastic == nil {
		say("no elastic part seen: the slope never stayed within %.0f %% of its steepest over %.4g degrees; no preload can be told from it",
			100*r.Settings.Steady, r.Settings.LeastElastic)
	} else {
		say("snug at about %.4g degrees; from there %.4g N·m a degree, steady from %.4g to %.4g degrees", r.Elastic.Snug, r.Elastic.Gradient, r.Elastic.From, r.Elastic.To)
	}
	switch {
	case r.Yield != nil:
		say("yield from about %.4g degrees and %.4g N·m on: the slope stays below %.0f %% of the elastic one; it may be the bolt, the thread, the nut or the gasket",
			r.Yield.Angle, r.Yield.Torque, 100*r.Settings.YieldShare)
	case r.Elastic != nil:
		say("no yield seen: the slope stays above %.0f %% of the elastic one", 100*r.Settings.YieldShare)
	}
	if r.Offset != nil {
		say("it has left the elastic line by %.4g degrees at %.4g degrees and %.4g N·m", r.Settings.Offset, r.Offset.Angle, r.Offset.Torque)
	}
	say("peak %.4g N·m at %.4g degrees, end %.4g N·m at %.4g degrees", r.Peak.Torque, r.Peak.Angle, r.End.Torque, r.End.Angle)
	if r.StickSlip {
		say("stick-slip: %d sudden losses of torque; the peak says little about the preload", r.Falls)
	}
	if r.CrossThread {
		say("it ran tight over more than %.0f degrees before anything was clamped: look for a crossed or damaged thread", tightAngle)
	}
	if r.Stripped {
		say("the torque fell for good: look for a stripped thread or a broken bolt")
	}
	return out
}

// Alarming tells whether the curve speaks of a damaged thread or bolt.
func (r Report) Alarming() bool { return r.CrossThread || r.Stripped }
