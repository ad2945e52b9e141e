// Package effort turns estimates of working time into distributions and learns from posted times.
//
// All times are minutes unless a caller uses another unit throughout; nothing here depends on it.
package effort

import "math"

// ThreePoint is an estimate of a duration with Optimistic <= Likely <= Pessimistic.
type ThreePoint struct {
	Optimistic  float64
	Likely      float64
	Pessimistic float64
}

// Exactly is an estimate without spread.
func Exactly(minutes float64) ThreePoint {
	return ThreePoint{Optimistic: minutes, Likely: minutes, Pessimistic: minutes}
}

// Valid reports whether the points are finite, not negative and do not fall.
func (t ThreePoint) Valid() bool {
	return t.Optimistic >= 0 && t.Optimistic <= t.Likely && t.Likely <= t.Pessimistic &&
		!math.IsInf(t.Pessimistic, 0)
}

// Mean is the expected duration of the beta-PERT distribution, (O+4M+P)/6.
func (t ThreePoint) Mean() float64 {
	return (t.Optimistic + 4*t.Likely + t.Pessimistic) / 6
}

// Variance is that of the beta-PERT distribution, (mean-O)(P-mean)/7. The often quoted
// ((P-O)/6)^2 is a rule of thumb and not the variance of this distribution, not even when the
// estimate is symmetric.
func (t ThreePoint) Variance() float64 {
	mean := t.Mean()
	return (mean - t.Optimistic) * (t.Pessimistic - mean) / 7
}

// ThreePointFrom is the estimate whose LogNormal has the distribution's mean and
// variance, and points that lie about as skewed as the distribution does. Where no
// three points spread that wide, above a Sigma of about .73, they spread as wide as they can.
func ThreePointFrom(d LogNormal) ThreePoint {
	mean, variance := d.Mean(), d.StdDev()*d.StdDev()
	if variance == 0 {
		return Exactly(mean)
	}
	// With O = mean - below and P = mean + above the variance is below*above/7, and
	// M = mean + (below-above)/4 stays within them while neither is five times the other.
	skew := 5.0
	if up, down := d.Quantile(.95)-mean, mean-d.Quantile(.05); up > 0 && down > 0 { // from a Sigma of 3.3 on the mean lies above both
		skew = min(skew, up/down)
	}
	below := min(mean, math.Sqrt(7*variance/skew))
	above := min(5*below, 7*variance/below)
	optimistic := mean - below
	// Where above is five times below, both are the same but for rounding.
	return ThreePoint{Optimistic: optimistic, Likely: max(optimistic, mean+(below-above)/4), Pessimistic: mean + above}
}

// LogNormal is the log-normal distribution with the estimate's mean and variance. Measured removal
// times are skewed, and their logarithms are not, which is why it is used instead of the beta.
func (t ThreePoint) LogNormal() LogNormal {
	return LogNormalFromMoments(t.Mean(), t.Variance())
}
