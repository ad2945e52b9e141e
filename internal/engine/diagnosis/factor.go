package diagnosis

// A factor is the likelihood of one observation as a function of which causes are present. It has
// two states, settled and open. It starts open with weight open and settled with weight settled.
// Every present cause settles an open factor of a positive observation with its probability; of a
// negative observation it merely keeps the share that it does not bring about.
//
// All arithmetic is on sums of positive terms. The textbook form, 1 minus a product, summed with
// alternating signs over sets of positive findings (Heckerman's quickscore), loses all digits when
// priors are small.
type factor struct {
	positive bool
	open     float64
	settled  float64
	// effect is, by cause, the probability of bringing the finding about.
	effect []float64
}

// pure reports whether the factor is a plain product over causes.
func (f *factor) pure() bool { return !f.positive && f.settled == 0 }

// touches reports whether the cause matters to the factor.
func (f *factor) touches(cause int) bool { return f.effect[cause] > 0 }

// value is the factor where openShare of it is still open after all present causes.
func (f *factor) value(openShare float64) float64 {
	if f.positive {
		return f.settled + f.open*(1-openShare)
	}
	return f.settled + f.open*openShare
}

// alone is the factor when only the cause is present, or none if cause is negative.
func (f *factor) alone(cause int) float64 {
	effect := 0.0
	if cause >= 0 {
		effect = f.effect[cause]
	}
	if f.positive {
		return f.settled + f.open*effect
	}
	return f.settled + f.open*(1-effect)
}

// newFactor mixes the noisy-OR with the observation's weight w: a positive one is
// (1-w) + w(1 - (1-leak) prod q), a negative one (1-w) + w(1-leak) prod q.
func newFactor(leak float64, effect []float64, o Observation) factor {
	w := o.Weight
	if w == 0 {
		w = 1
	}
	f := factor{positive: o.Present, open: w * (1 - leak), effect: effect, settled: 1 - w}
	if o.Present {
		f.settled += w * leak
	}
	return f
}
