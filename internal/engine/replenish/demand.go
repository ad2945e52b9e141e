package replenish

import "math"

// Class is the kind of a demand.
type Class int

// The kinds, by how often there is demand and how much its size varies.
const (
	NoDemand     Class = iota
	Smooth             // often, of like size
	Intermittent       // seldom, of like size
	Erratic            // often, of very different size
	Lumpy              // seldom, of very different size
)

// The cut-offs of Syntetos, Boylan and Croston.
const (
	cutInterval  = 1.32
	cutVariation = 0.49
)

// String gives the kind in words.
func (c Class) String() string {
	switch c {
	case Smooth:
		return "smooth"
	case Intermittent:
		return "intermittent"
	case Erratic:
		return "erratic"
	case Lumpy:
		return "lumpy"
	case NoDemand:
		return "none"
	default:
		return "unknown"
	}
}

// Profile describes a demand history.
type Profile struct {
	// Interval is the average demand interval: periods per period with demand.
	Interval float64
	// Variation is the squared coefficient of variation of the demands that are
	// not zero, with the population's variance.
	Variation float64
	Class     Class
	// Mean and SD of all periods, those without demand included.
	Mean, SD float64
}

// Classify describes a history of demand per period, oldest first.
func Classify(history []float64) (Profile, error) {
	sizes := make([]float64, 0, len(history))
	for _, d := range history {
		if err := firstUnmet(notNegative("history", d)); err != nil {
			return Profile{}, err
		}
		if d > 0 {
			sizes = append(sizes, d)
		}
	}
	if len(sizes) == 0 {
		return Profile{}, nil
	}
	p := Profile{Interval: float64(len(history)) / float64(len(sizes))}
	mean, variance := meanVariance(sizes)
	p.Variation = variance / (mean * mean)
	p.Class = ClassOf(p.Interval, p.Variation)
	all, spread := meanVariance(history)
	p.Mean, p.SD = all, math.Sqrt(spread)
	return p, nil
}

// ClassOf gives the kind from interval and squared variation. A value on a
// cut-off belongs to the harder kind.
func ClassOf(interval, variation float64) Class {
	switch often, alike := interval < cutInterval, variation < cutVariation; {
	case often && alike:
		return Smooth
	case alike:
		return Intermittent
	case often:
		return Erratic
	default:
		return Lumpy
	}
}

// meanVariance gives mean and population variance, in two passes for precision.
func meanVariance(values []float64) (mean, variance float64) {
	for _, v := range values {
		mean += v
	}
	mean /= float64(len(values))
	for _, v := range values {
		variance += (v - mean) * (v - mean)
	}
	return mean, variance / float64(len(values))
}
