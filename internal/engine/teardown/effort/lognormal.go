package effort

import "math"

// LogNormal is the distribution of a duration whose logarithm is normal. The zero Mu of a duration
// that is always zero is minus infinity.
type LogNormal struct {
	Mu    float64
	Sigma float64
}

// LogNormalFromMoments is the log-normal with the given mean and variance.
func LogNormalFromMoments(mean, variance float64) LogNormal {
	if mean <= 0 {
		return LogNormal{Mu: math.Inf(-1)}
	}
	s2 := math.Log1p(variance / (mean * mean))
	return LogNormal{Mu: math.Log(mean) - s2/2, Sigma: math.Sqrt(s2)}
}

// LogNormalFromQuantiles is the log-normal whose P10 and P90 are given.
func LogNormalFromQuantiles(p10, p90 float64) LogNormal {
	z := NormalQuantile(0.9)
	return LogNormal{Mu: (math.Log(p10) + math.Log(p90)) / 2, Sigma: math.Log(p90/p10) / (2 * z)}
}

// Mean is the expected value.
func (d LogNormal) Mean() float64 { return math.Exp(d.Mu + d.Sigma*d.Sigma/2) }

// Median is the value that half of the durations stay below.
func (d LogNormal) Median() float64 { return math.Exp(d.Mu) }

// Mode is the most likely value.
func (d LogNormal) Mode() float64 { return math.Exp(d.Mu - d.Sigma*d.Sigma) }

// StdDev is the standard deviation.
func (d LogNormal) StdDev() float64 {
	return d.Mean() * math.Sqrt(math.Expm1(d.Sigma*d.Sigma))
}

// Quantile is the value that the share p in (0, 1) of durations stays below.
func (d LogNormal) Quantile(p float64) float64 {
	return d.At(NormalQuantile(p))
}

// At is the duration that lies z standard deviations from the median on the logarithmic scale.
func (d LogNormal) At(z float64) float64 {
	if math.IsInf(d.Mu, -1) {
		return 0
	}
	return math.Exp(d.Mu + d.Sigma*z)
}

// NormalQuantile is the quantile of the standard normal distribution.
func NormalQuantile(p float64) float64 { return math.Sqrt2 * math.Erfinv(2*p-1) }
