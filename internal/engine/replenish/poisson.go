package replenish

import "math"

// PoissonExactly is the probability that a Poisson count of the given mean is k.
func PoissonExactly(mean float64, k int) float64 {
	if k < 0 || mean < 0 {
		return 0
	}
	if mean == 0 {
		if k == 0 {
			return 1
		}
		return 0
	}
	lgamma, _ := math.Lgamma(float64(k) + 1)
	return math.Exp(float64(k)*math.Log(mean) - mean - lgamma)
}

// PoissonAtMost is the probability that a Poisson count of the given mean is at
// most k. Summed from the largest term down, so it costs O(k).
func PoissonAtMost(mean float64, k int) float64 {
	if k < 0 {
		return 0
	}
	sum := 0.0
	for i := 0; i <= k; i++ {
		sum += PoissonExactly(mean, i)
	}
	return math.Min(1, sum)
}

// PoissonQuantile is the smallest k that a Poisson count stays at or below with
// probability p at least. It gives up far beyond the mean (at 40 standard
// deviations), where no float64 probability is left.
func PoissonQuantile(mean, p float64) int {
	far := int(mean+40*math.Sqrt(mean)) + 40
	sum := 0.0
	for k := range far {
		sum += PoissonExactly(mean, k)
		// A sum of rounded terms may stop just short of 1; the slack is far
		// below any probability that one can ask for in earnest.
		if sum >= p-1e-14 {
			return k
		}
	}
	return far
}

// PoissonLoss is the expected amount by which a Poisson count exceeds x.
func PoissonLoss(mean float64, x int) float64 {
	if x < 0 {
		return mean - float64(x)
	}
	above := 1 - PoissonAtMost(mean, x)
	return math.Max(0, (mean-float64(x))*above+mean*PoissonExactly(mean, x))
}
