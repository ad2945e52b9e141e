package bolt

// SteelModulus is Young's modulus of bolt steel in MPa.
const SteelModulus = 205000.0

// Advance in mm is how far a turn in degrees drives the thread.
func (t Thread) Advance(angle float64) float64 { return angle * t.Pitch / 360 }

// Stiffness of a bolt in N/mm over a clamp length in mm, all of it threaded.
func (t Thread) Stiffness(length float64) float64 { return SteelModulus * t.StressArea() / length }

// PreloadFromTurn in N after a turn in degrees from where the joint is snug;
// clamped is the stiffness of what is clamped in N/mm, or 0 if it is rigid.
// Elastic only: beyond yield it is an upper bound.
func (t Thread) PreloadFromTurn(angle, length, clamped float64) float64 {
	bolt := t.Stiffness(length)
	if clamped <= 0 {
		return t.Advance(angle) * bolt
	}
	return t.Advance(angle) * bolt * clamped / (bolt + clamped)
}

// TurnFor gives the turn in degrees that stretches the bolt of a rigid joint
// to a stress in MPa over a length in mm.
func (t Thread) TurnFor(stress, length float64) float64 {
	return 360 * stress * length / (SteelModulus * t.Pitch)
}
