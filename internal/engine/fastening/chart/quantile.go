package chart

import "math"

func normalQuantile(p float64) float64 { return math.Sqrt2 * math.Erfinv(2*p-1) }

// chiSquaredQuantile inverts the distribution by bisection, to 1e-12 of the answer.
func chiSquaredQuantile(p, free float64) float64 {
	low, high := 0.0, free+10
	for gammaShare(free/2, high/2) < p {
		high *= 2
	}
	for high-low > 1e-12*high {
		middle := (low + high) / 2
		if gammaShare(free/2, middle/2) < p {
			low = middle
		} else {
			high = middle
		}
	}
	return (low + high) / 2
}

const (
	gammaTerms     = 10000 // far more than convergence takes
	gammaPrecision = 1e-15
	tiny           = 1e-300
)

// gammaShare is the regularised lower incomplete gamma function: a series
// below a+1 and Lentz's continued fraction above (Abramowitz and Stegun 6.5.29
// and 6.5.31).
func gammaShare(a, x float64) float64 {
	if x <= 0 {
		return 0
	}
	logGamma, _ := math.Lgamma(a)
	scale := math.Exp(a*math.Log(x) - x - logGamma)
	if x < a+1 {
		term, sum := 1/a, 1/a
		for k := 1; k < gammaTerms && term > sum*gammaPrecision; k++ {
			term *= x / (a + float64(k))
			sum += term
		}
		return scale * sum
	}
	b := x + 1 - a
	c, d := 1/tiny, 1/b
	fraction := d
	for k := 1; k < gammaTerms; k++ {
		step := -float64(k) * (float64(k) - a)
		b += 2
		d = 1 / orTiny(step*d+b)
		c = orTiny(b + step/c)
		fraction *= d * c
		if math.Abs(d*c-1) < gammaPrecision {
			break
		}
	}
	return 1 - scale*fraction
}

// orTiny keeps a denominator of the continued fraction off zero.
func orTiny(v float64) float64 {
	if math.Abs(v) < tiny {
		return tiny
	}
	return v
}
