package fastening

import (
	"fmt"
	"math"
)

// measured is what a value is worth.
type measured struct {
	verdict Verdict
	risk    float64
	floor   bool // the torque floor is what fails
}

// measure judges the value of a reading against its stage. A tool that cannot
// prove leaves the true value wide open.
func measure(s Stage, r Reading, tool Tool, able bool) measured {
	switch s.Kind {
	case Torque, Check:
		at := TrueTorque(r.TorqueNM, tool.Deviation)
		return weigh(r.TorqueNM, at, able, s.Torque)
	case Angle:
		m := weigh(r.AngleDeg, around(r.AngleDeg, angleUncertainty), able, s.Angle)
		if s.TorqueFloor > 0 {
			m = m.withFloor(r.TorqueNM, TrueTorque(r.TorqueNM, tool.Deviation), able, s.TorqueFloor)
		}
		return m
	case BackOff, Wait:
	}
	// A release has only a lower limit, and only if one is given and was measured.
	if r.AngleDeg > 0 && r.AngleDeg < s.Angle.Low() {
		return measured{verdict: DoesNotConform}
	}
	return measured{verdict: Conforms}
}

func weigh(value float64, at Interval, able bool, w Window) measured {
	if !able {
		at = unknown()
	}
	return measured{verdict: Decide(value, at, w.Low(), w.High()), risk: risk(value, at, w.Low(), w.High())}
}

func (m measured) withFloor(torque float64, at Interval, able bool, floor float64) measured {
	if !able {
		at = unknown()
	}
	v := Decide(torque, at, floor, math.Inf(1))
	if v > m.verdict {
		m.floor = true
	}
	m.verdict = worse(m.verdict, v)
	m.risk = math.Max(m.risk, risk(torque, at, floor, math.Inf(1)))
	return m
}

// restarts tells whether the fastener has to begin anew. An angle counts from
// where the fastener stood: one that was turned and does not count, be it for
// its value, the gauge or the order, cannot be turned again in place.
func (s Stage) restarts(r Reading) bool {
	switch s.Kind {
	case Angle:
		return !r.Counts && (r.AngleDeg >= s.Angle.Target || r.Verdict == Conforms)
	case Torque, Check:
		return !r.Counts && s.RestartIfOver && r.TorqueNM > s.Torque.High()
	case BackOff, Wait:
	}
	return false
}

// explain says what the value proves and what follows.
func (t *Track) explain(s Stage, r Reading, m measured, j Judgement) string {
	switch {
	case j.Counts && s.Kind == BackOff:
		return "released; nothing to measure"
	case j.Counts && t.passes[t.current()].settle && r.Moved:
		return "it moved before the click: it is tried again in the next round"
	case j.Counts:
		return "inside the window, uncertainty included"
	case m.floor:
		return fmt.Sprintf("%s N·m after the turn, %s must be reached for sure; renew bolt %d", number(r.TorqueNM), number(s.TorqueFloor), r.Fastener)
	case s.Kind == BackOff:
		return fmt.Sprintf("released by %s degrees only; %s", number(r.AngleDeg), s.say())
	case j.Restart:
		return fmt.Sprintf("%s: %s", m.verdict, s.amount(r))
	case s.Kind == Angle:
		return fmt.Sprintf("%s: %s degrees; turn on until the whole angle lies well inside %s to %s degrees, and give the whole angle",
			m.verdict, number(r.AngleDeg), number(s.Angle.Low()), number(s.Angle.High()))
	case r.TorqueNM > s.Torque.Target:
		return fmt.Sprintf("%s: %s N·m; release bolt %d and tighten it to %s", m.verdict, number(r.TorqueNM), r.Fastener, s.say())
	default:
		return fmt.Sprintf("%s: %s N·m; tighten bolt %d to %s", m.verdict, number(r.TorqueNM), r.Fastener, s.say())
	}
}

func (s Stage) amount(r Reading) string {
	if s.Kind == Angle {
		return number(r.AngleDeg) + " degrees"
	}
	return number(r.TorqueNM) + " N·m"
}
