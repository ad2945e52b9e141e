package bolt

import "math"

// Friction is the coefficient in the thread and under the head.
type Friction struct{ Thread, Head float64 }

// Even is the same coefficient at both places, as the guideline's tables have it.
func Even(mu float64) Friction { return Friction{Thread: mu, Head: mu} }

// Utilisation is the share of the yield strength that tightening may use up in
// tension and torsion together (VDI 2230).
const Utilisation = 0.9

// Joint is a bolt in its place.
type Joint struct {
	Thread   Thread
	Seat     Seat
	Friction Friction
	// Prevailing is the torque of a locking nut in N·m, which clamps nothing.
	Prevailing float64
}

// climb is tan(φ+ρ'): the lead angle and the friction angle of a 60° thread.
func (j Joint) climb() float64 {
	lead := math.Atan(j.Thread.Pitch / (math.Pi * j.Thread.PitchDiameter()))
	friction := math.Atan(j.Friction.Thread / math.Cos(math.Pi/6))
	return math.Tan(lead + friction)
}

// arms are the torques in N·m per newton of preload in the thread and under the head.
func (j Joint) arms() (thread, head float64) {
	const perMetre = 1000
	thread = j.Thread.PitchDiameter() / 2 * j.climb() / perMetre
	head = j.Seat.MeanDiameter() / 2 * j.Friction.Head / perMetre
	return thread, head
}

// Torque in N·m that brings a preload in N (VDI 2230).
func (j Joint) Torque(preload float64) float64 {
	thread, head := j.arms()
	return preload*(thread+head) + j.Prevailing
}

// Preload in N that a torque in N·m brings; 0 if it only overcomes the locking.
func (j Joint) Preload(torque float64) float64 {
	thread, head := j.arms()
	return math.Max(0, torque-j.Prevailing) / (thread + head)
}

// Shares are the parts of a torque: what clamps, what thread and head friction
// take, and what the locking nut takes. They add up to 1.
type Shares struct{ Clamping, Thread, Head, Prevailing float64 }

// SharesOf splits a torque in N·m.
func (j Joint) SharesOf(torque float64) Shares {
	thread, head := j.arms()
	preload := j.Preload(torque)
	frictionless := j
	frictionless.Friction.Thread = 0
	clamping, _ := frictionless.arms()
	return Shares{
		Clamping: preload * clamping / torque, Thread: preload * (thread - clamping) / torque,
		Head: preload * head / torque, Prevailing: math.Min(1, j.Prevailing/torque),
	}
}

// PreloadAt is the preload in N at which tension and torsion together reach a
// share of the yield strength in MPa (VDI 2230, exact form).
func (j Joint) PreloadAt(share, yield float64) float64 {
	d0 := j.Thread.StressDiameter()
	torsion := 1.5 * j.Thread.PitchDiameter() / d0 * j.climb()
	return j.Thread.StressArea() * share * yield / math.Sqrt(1+3*torsion*torsion)
}

// YieldMargin is how much of the yield strength a preload in N leaves, as a
// share: 0.1 at the usual utilisation, negative beyond yield.
func (j Joint) YieldMargin(preload, yield float64) float64 {
	return 1 - preload/j.PreloadAt(1, yield)
}

// NutFactorTorque is the shop formula T = K·d·F in N·m, with the nut factor K,
// the nominal diameter in mm and the preload in N.
func NutFactorTorque(k, diameter, preload float64) float64 { return k * diameter * preload / 1000 }

// NutFactorPreload is its inverse.
func NutFactorPreload(k, diameter, torque float64) float64 { return torque * 1000 / (k * diameter) }

// NutFactor is the K that gives the same torque as the exact form.
func (j Joint) NutFactor() float64 {
	thread, head := j.arms()
	return (thread + head) * 1000 / j.Thread.Diameter
}
