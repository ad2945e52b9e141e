package bolt

import (
	"fmt"
	"math"
)

// Clamped parts are between twice as stiff as the bolt and rigid, so that
// between two thirds and all of a turn goes into the bolt; four fifths is the
// middle taken. Common practice, no source.
const (
	leastTurnShare = 2.0 / 3
	usualTurnShare = 0.8
)

// Tightening is how a bolt was left.
type Tightening struct {
	Thread, Class string  // as in M8x1.25 and 8.8
	Friction      float64 // in the thread and under the head; 0: not known
	Oiled         bool
	TorqueNM      float64
	// AngleDeg is turned on after the torque, over a clamp length in mm.
	AngleDeg, ClampLength float64
}

// Estimate is a preload in newtons with its scatter and what it rests on.
type Estimate struct {
	Range

	Method  Method
	Scatter float64 // share, each way
	Basis   string
}

// EstimateOf gives the preload of a tightening by VDI 2230 with the scatter of
// its method; false where something is not known that it takes: thread, class,
// friction, a torque, or the clamp length under an angle. It is elastic, and
// ends at the least yield strength of the class (ISO 898-1).
func EstimateOf(w Tightening) (Estimate, bool) {
	t, err := Parse(w.Thread)
	if err != nil || !(w.Friction > 0) || !(w.TorqueNM > 0) || math.IsInf(w.TorqueNM, 0) || w.AngleDeg > 0 && w.ClampLength <= 0 {
		return Estimate{}, false
	}
	class, err := ClassOf(t, w.Class)
	if err != nil {
		return Estimate{}, false
	}
	j := Joint{Thread: t, Seat: HexSeat(t), Friction: Even(w.Friction)}
	yield := j.PreloadAt(1, class.Yield)
	e := Estimate{Method: w.method()}
	e.Scatter = Scatter(e.Method)
	e.Basis = fmt.Sprintf("VDI 2230, friction %.3g, %s class %s", w.Friction, w.Thread, w.Class)
	from := j.Preload(w.TorqueNM)
	turned := t.PreloadFromTurn(w.AngleDeg, math.Max(w.ClampLength, 1), 0)
	at := func(share float64) float64 { return math.Min(from+share*turned, yield) }
	e.Mean = at(usualTurnShare)
	e.Low, e.High = at(leastTurnShare)*(1-e.Scatter), at(1)*(1+e.Scatter)
	switch {
	case from+turned*usualTurnShare >= yield:
		e.Basis += ", at the yield point"
	case w.AngleDeg > 0:
		e.Basis += ", clamped parts between twice as stiff as the bolt and rigid"
	}
	return e, true
}

func (w Tightening) method() Method {
	switch {
	case w.AngleDeg > 0:
		return TurnOfNut
	case w.Oiled:
		return TorqueWrenchOiled
	default:
		return TorqueWrenchDry
	}
}

// String names a method.
func (m Method) String() string {
	switch m {
	case ByFeel:
		return "by feel"
	case TorqueWrenchDry:
		return "torque wrench, dry"
	case TorqueWrenchOiled:
		return "torque wrench, oiled"
	case TurnOfNut:
		return "torque, then angle"
	case YieldSensing:
		return "to the yield point"
	case Elongation:
		return "by elongation"
	default:
		return "unknown method"
	}
}
