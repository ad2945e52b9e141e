package effort

import "math"

// Belief is what is known of the logarithm of a duration: normal-gamma, conjugate to log-normal
// times with unknown median and spread. Mu is the expected logarithm, worth Kappa observations;
// Alpha and Beta are those of the gamma distribution of the precision.
type Belief struct {
	Mu    float64
	Kappa float64
	Alpha float64
	Beta  float64
}

// DefaultSigma is the spread of the logarithm where nothing is known. Fourteen groups of measured
// removal times have .36 to .78, with a median of about .53.
const DefaultSigma = 0.5

// BeliefFrom gives an estimate the weight of so many observations; more than 1 is needed for the
// spread to have an expected value. An estimate without spread gets DefaultSigma.
func BeliefFrom(t ThreePoint, observations float64) Belief {
	d := t.LogNormal()
	if d.Sigma == 0 {
		d.Sigma = DefaultSigma
	}
	alpha := 1 + observations/2
	return Belief{Mu: d.Mu, Kappa: observations, Alpha: alpha, Beta: d.Sigma * d.Sigma * (alpha - 1)}
}

// Observe takes in measured durations, all above 0. One at a time gives the same as all at once.
func (b Belief) Observe(durations ...float64) Belief {
	sum := Logs{}
	for _, d := range durations {
		sum = sum.Add(d)
	}
	return b.ObserveLogs(sum)
}

// Logs sums up measured durations as far as a Belief needs them: their number, the
// sum of their logarithms, and of the squares of those.
type Logs struct {
	Count   float64
	Sum     float64
	Squares float64
}

// Add takes in one duration above 0.
func (l Logs) Add(duration float64) Logs {
	log := math.Log(duration)
	return Logs{l.Count + 1, l.Sum + log, l.Squares + log*log}
}

// Slower is the sum of the same durations, each divided by a factor above 0.
func (l Logs) Slower(factor float64) Logs {
	shift := math.Log(factor)
	return Logs{l.Count, l.Sum - l.Count*shift, l.Squares - 2*shift*l.Sum + l.Count*shift*shift}
}

// Plus adds up the durations of two sums.
func (l Logs) Plus(m Logs) Logs { return Logs{l.Count + m.Count, l.Sum + m.Sum, l.Squares + m.Squares} }

// ObserveLogs is Observe of durations that were summed up.
func (b Belief) ObserveLogs(l Logs) Belief {
	if l.Count == 0 {
		return b
	}
	n, mean := l.Count, l.Sum/l.Count
	squares := max(0, l.Squares-n*mean*mean)
	off := mean - b.Mu
	return Belief{
		Mu:    (b.Kappa*b.Mu + n*mean) / (b.Kappa + n),
		Kappa: b.Kappa + n,
		Alpha: b.Alpha + n/2,
		Beta:  b.Beta + squares/2 + b.Kappa*n*off*off/(2*(b.Kappa+n)),
	}
}

// Variance is the expected variance of the logarithm; it needs Alpha above 1.
func (b Belief) Variance() float64 { return b.Beta / (b.Alpha - 1) }

// Predict is the log-normal for the next duration with the expected variance, uncertainty of the
// median included.
func (b Belief) Predict() LogNormal {
	return LogNormal{Mu: b.Mu, Sigma: math.Sqrt(b.Variance() * (1 + 1/b.Kappa))}
}

// Student is the exact predictive distribution of the logarithm of the next duration: degrees of
// freedom, location and scale of Student's t.
func (b Belief) Student() (freedom, location, scale float64) {
	return 2 * b.Alpha, b.Mu, math.Sqrt(b.Beta * (b.Kappa + 1) / (b.Alpha * b.Kappa))
}

// Pace is how one technician's times compare with what was expected, as a belief on the logarithm
// of the ratio. It shrinks towards 1: few observations hardly move it.
type Pace struct {
	// Ratio sums logarithms of measured over expected median; Count is how many.
	Ratio float64
	Count float64
}

// paceWeight is how many observations of everybody's pace, 1, weigh against a technician's own.
// Judgement, no source.
const paceWeight = 10

// PaceFrom is the pace of somebody whose measured over expected times were summed up.
func PaceFrom(ratios Logs) Pace { return Pace{Ratio: ratios.Sum, Count: ratios.Count} }

// Observe takes in a measured duration where a median was expected, both above 0.
func (p Pace) Observe(measured, median float64) Pace {
	return Pace{p.Ratio + math.Log(measured/median), p.Count + 1}
}

// Factor multiplies expected durations for this technician.
func (p Pace) Factor() float64 { return math.Exp(p.Ratio / (p.Count + paceWeight)) }
