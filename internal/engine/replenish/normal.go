package replenish

import "math"

// NormalDensity is the density of the standard normal distribution at z.
func NormalDensity(z float64) float64 {
	return math.Exp(-z*z/2) / math.Sqrt(2*math.Pi)
}

// NormalBelow is the probability that a standard normal value is at most z.
// It goes over erfc, which keeps its relative precision in the lower tail.
func NormalBelow(z float64) float64 { return math.Erfc(-z/math.Sqrt2) / 2 }

// NormalQuantile is the z that a standard normal value stays below with
// probability p. 0 and 1 give the infinities. Its error
// is below 1e-9 between 1e-6 and 1-1e-6, which is all that service levels need.
func NormalQuantile(p float64) float64 { return math.Sqrt2 * math.Erfinv(2*p-1) }

// NormalLoss is the expected amount by which a standard normal value exceeds z:
// the units short per cycle, in standard deviations. For z above about 8 the
// difference of the two terms has few correct digits; it is then below 1e-16.
func NormalLoss(z float64) float64 {
	return math.Max(0, NormalDensity(z)-z*NormalBelow(-z))
}

// normalLossInverse is the z whose loss is l: bisection, since the loss falls
// strictly in z. The answer is good to 1e-12.
func normalLossInverse(l float64) float64 {
	low, high := -40.0, 40.0
	// Far to the left the loss is -z, so the bound below always holds.
	low = math.Min(low, -2*l)
	for high-low > 1e-12 {
		mid := (low + high) / 2
		if mid == low || mid == high {
			break
		}
		if NormalLoss(mid) > l {
			low = mid
		} else {
			high = mid
		}
	}
	return (low + high) / 2
}
