package chart

import "math"

// Index is a capability index with its interval of confidence.
type Index struct{ Value, Low, High float64 }

// Capability compares scatter with a tolerance. With only one limit the two
// indices that need both are NaN.
type Capability struct {
	Spread Index // Cp, or Cm on a machine: how often the scatter fits
	Worst  Index // Cpk, or Cmk: the same at the nearer limit
	Lower  float64
	Upper  float64
	Target float64 // Cpm; NaN without both limits
}

// Tolerance is what is allowed. A limit that does not exist is infinite.
type Tolerance struct{ Low, Target, High float64 }

// CapabilityOf needs mean and standard deviation of n readings; confidence as
// in 0.95. Intervals are the chi-squared one for the spread and Bissell's
// normal approximation for the worst. The error is a *DataError.
func CapabilityOf(mean, sigma float64, n int, t Tolerance, confidence float64) (Capability, error) {
	switch {
	case n < 2:
		return Capability{}, wrong("at least two readings are needed, and there are %d", n)
	case !(sigma > 0) || math.IsInf(sigma, 0) || math.IsNaN(mean) || math.IsInf(mean, 0):
		return Capability{}, wrong("readings without scatter have no capability")
	case !(confidence > 0 && confidence < 1):
		return Capability{}, wrong("the confidence must lie between 0 and 1")
	case !(t.High > t.Low) || math.IsInf(t.Low, -1) && math.IsInf(t.High, 1):
		return Capability{}, wrong("a tolerance needs at least one limit, and the upper above the lower")
	}
	c := Capability{Lower: (mean - t.Low) / (3 * sigma), Upper: (t.High - mean) / (3 * sigma)}
	tail := (1 - confidence) / 2
	cpk := math.Min(c.Lower, c.Upper)
	half := normalQuantile(1-tail) * math.Sqrt(1/(9*float64(n))+cpk*cpk/(2*float64(n-1)))
	c.Worst = Index{cpk, cpk - half, cpk + half}
	if math.IsInf(t.Low, 0) || math.IsInf(t.High, 0) {
		c.Spread = Index{math.NaN(), math.NaN(), math.NaN()}
		c.Target = math.NaN()
		return c, nil
	}
	cp := (t.High - t.Low) / (6 * sigma)
	free := float64(n - 1)
	c.Spread = Index{cp, cp * math.Sqrt(chiSquaredQuantile(tail, free)/free), cp * math.Sqrt(chiSquaredQuantile(1-tail, free)/free)}
	off := (mean - t.Target) / sigma
	c.Target = cp / math.Sqrt(1+off*off)
	return c, nil
}

// MeanAndSigma gives the mean and the sample standard deviation.
func MeanAndSigma(values []float64) (mean, sigma float64) {
	_, _, sum := spanOf(values)
	mean = sum / float64(len(values))
	for _, v := range values {
		sigma += (v - mean) * (v - mean)
	}
	return mean, math.Sqrt(sigma / float64(len(values)-1))
}
