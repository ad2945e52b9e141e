package bolt

// Method is how a bolt is tightened.
type Method int

// The methods, from the least to the most certain.
const (
	ByFeel Method = iota + 1
	TorqueWrenchDry
	TorqueWrenchOiled
	TurnOfNut
	YieldSensing
	Elongation
)

// scatters are the shares by which the preload may miss, each way: published
// tables of a machinery handbook and of a space agency's practice.
var scatters = map[Method]float64{
	ByFeel:            0.35,
	TorqueWrenchDry:   0.35,
	TorqueWrenchOiled: 0.25,
	TurnOfNut:         0.15,
	YieldSensing:      0.08,
	Elongation:        0.05,
}

// Scatter is the share by which a method's preload may miss, each way; that of
// the worst method if it is not known.
func Scatter(m Method) float64 {
	if s, ok := scatters[m]; ok {
		return s
	}
	return scatters[ByFeel]
}

// Range is a preload in N with its scatter.
type Range struct{ Low, Mean, High float64 }

// Expect gives the preload that a torque in N·m brings by a method.
func (j Joint) Expect(torque float64, m Method) Range {
	mean := j.Preload(torque)
	return Range{Low: mean * (1 - Scatter(m)), Mean: mean, High: mean * (1 + Scatter(m))}
}

// TighteningFactor is α_A of VDI 2230, the greatest preload over the least.
func TighteningFactor(m Method) float64 { return (1 + Scatter(m)) / (1 - Scatter(m)) }
