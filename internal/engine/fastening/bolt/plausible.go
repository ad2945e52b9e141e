package bolt

import "fmt"

// Friction that no usual surface exceeds or undercuts: VDI 2230's tables go
// from 0.08 to 0.24; oiled steel stays below 0.16 (common practice, no source).
const (
	leastFriction = 0.08
	mostFriction  = 0.24
	mostWhenOiled = 0.16
)

// tooLittle is the share of the usual torque below which a wrong unit or digit
// is more likely than a joint that wants so little: common practice, no source.
const tooLittle = 0.1

// Want is a torque that somebody specified.
type Want struct {
	Thread, Class string // as in M8x1.25 and 8.8; without a class nothing is known
	TorqueNM      float64
	Oiled         bool
	// AngleDeg is turned on after the torque, over a clamp length in mm.
	AngleDeg, ClampLength float64
}

// Check compares a specification with what thread and class can bear and says
// what is far outside, with the numbers; empty if nothing is. The error is a
// *ParseError or *ClassError.
func Check(w Want) ([]string, error) {
	t, err := Parse(w.Thread)
	if err != nil || w.Class == "" {
		return nil, err
	}
	class, err := ClassOf(t, w.Class)
	if err != nil {
		return nil, err
	}
	var warnings []string
	if text := w.torqueWarning(t, class); text != "" {
		warnings = append(warnings, text)
	}
	if text := w.angleWarning(t, class); text != "" {
		warnings = append(warnings, text)
	}
	return warnings, nil
}

func (w Want) torqueWarning(t Thread, class Class) string {
	rough := mostFriction
	if w.Oiled {
		rough = mostWhenOiled
	}
	most := yieldTorque(t, class, rough)
	usual := Utilisation * yieldTorque(t, class, leastFriction)
	switch {
	case w.TorqueNM > most:
		return fmt.Sprintf("%.4g N·m yields a %s of class %s, whatever the friction: it bears %.3g N·m at a coefficient of %.2g",
			w.TorqueNM, w.Thread, class.Name, most, rough)
	case w.TorqueNM > 0 && w.AngleDeg == 0 && w.TorqueNM < tooLittle*usual:
		return fmt.Sprintf("%.3g N·m is less than a tenth of what a %s of class %s is usually tightened to (%.3g N·m and more)",
			w.TorqueNM, w.Thread, class.Name, usual)
	}
	return ""
}

// yieldTorque in N·m at which a bolt of one friction yields.
func yieldTorque(t Thread, class Class, mu float64) float64 {
	j := Joint{Thread: t, Seat: HexSeat(t), Friction: Even(mu)}
	return j.Torque(j.PreloadAt(1, class.Yield))
}

func (w Want) angleWarning(t Thread, class Class) string {
	if w.ClampLength <= 0 {
		return ""
	}
	strain := t.Advance(w.AngleDeg) / w.ClampLength
	if strain <= class.Fracture {
		return ""
	}
	return fmt.Sprintf("%.4g degrees stretch a %s by %.3g %% over %.4g mm, and class %s breaks at %.3g %%",
		w.AngleDeg, w.Thread, 100*strain, w.ClampLength, class.Name, 100*class.Fracture)
}
