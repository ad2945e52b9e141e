package fastening

import "math"

// Process is what is measured and how: items that scatter normally, a normal
// measurement error, and limits that are drawn in by a guard band each side.
type Process struct {
	Mean, Scatter float64 // of the items, one standard deviation
	Uncertainty   float64 // of the measurement, one standard deviation
	Low, High     float64 // limits
	Guard         float64 // acceptance is from Low+Guard to High-Guard
}

// Risks are the shares of all items that are decided wrongly (JCGM 106, global risks).
type Risks struct{ FalseAccept, FalseReject float64 }

const (
	riskReach = 8.0  // standard deviations of the items that are summed over
	riskSteps = 2000 // per limit-free stretch; even, for Simpson's rule
)

// Risks integrates over the items. Cost: some 6,000 evaluations of erfc.
func (p Process) Risks() Risks {
	accepted := func(x float64) float64 {
		return ConformanceProbability(x, p.Uncertainty, p.Low+p.Guard, p.High-p.Guard)
	}
	density := func(x float64) float64 {
		z := (x - p.Mean) / p.Scatter
		return math.Exp(-z*z/2) / (p.Scatter * math.Sqrt(2*math.Pi))
	}
	least, most := p.Mean-riskReach*p.Scatter, p.Mean+riskReach*p.Scatter
	wrong := func(x float64) float64 { return density(x) * accepted(x) }
	lost := func(x float64) float64 { return density(x) * (1 - accepted(x)) }
	return Risks{
		FalseAccept: simpson(wrong, least, math.Min(p.Low, most)) + simpson(wrong, math.Max(p.High, least), most),
		FalseReject: simpson(lost, math.Max(p.Low, least), math.Min(p.High, most)),
	}
}

// GuardFor gives the guard band that keeps false accepts at a target share,
// 0 if none is needed. Bisection to 1e-9 of the tolerance.
func (p Process) GuardFor(target float64) float64 {
	p.Guard = 0
	if p.Risks().FalseAccept <= target {
		return 0
	}
	low, high := 0.0, (p.High-p.Low)/2
	for high-low > 1e-9*(p.High-p.Low) {
		p.Guard = (low + high) / 2
		if p.Risks().FalseAccept > target {
			low = p.Guard
		} else {
			high = p.Guard
		}
	}
	return high
}

func simpson(f func(float64) float64, a, b float64) float64 {
	if !(b > a) {
		return 0
	}
	h := (b - a) / riskSteps
	sum := f(a) + f(b)
	for i := 1; i < riskSteps; i++ {
		weight := 2.0
		if i%2 == 1 {
			weight = 4
		}
		sum += weight * f(a+float64(i)*h)
	}
	return sum * h / 3
}
