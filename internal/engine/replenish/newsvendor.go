package replenish

import "math"

// OneTime says what it costs to be wrong when something is bought once:
// Over per unit left, Under per unit missing.
type OneTime struct {
	Over  float64
	Under float64
}

// Ratio is the critical ratio: the probability with which demand should be met.
func (c OneTime) Ratio() float64 { return c.Under / (c.Over + c.Under) }

func (c OneTime) check() error {
	return firstUnmet(positive("Over", c.Over), positive("Under", c.Under))
}

// NewsvendorNormal is the best quantity for one normal demand, and its expected cost.
func NewsvendorNormal(c OneTime, mean, sd float64) (Lot, error) {
	if err := c.check(); err != nil {
		return Lot{}, err
	}
	if err := firstUnmet(notNegative("mean", mean), positive("sd", sd)); err != nil {
		return Lot{}, err
	}
	q := mean + sd*NormalQuantile(c.Ratio())
	return Lot{Quantity: q, Cost: NewsvendorNormalCost(c, mean, sd, q)}, nil
}

// NewsvendorNormalCost is the expected cost of having q for one normal demand.
func NewsvendorNormalCost(c OneTime, mean, sd, q float64) float64 {
	z := (q - mean) / sd
	short := sd * NormalLoss(z)
	return c.Over*(q-mean+short) + c.Under*short
}

// NewsvendorPoisson is the best whole quantity for one Poisson demand, and its
// expected cost.
func NewsvendorPoisson(c OneTime, mean float64) (Lot, error) {
	if err := c.check(); err != nil {
		return Lot{}, err
	}
	if err := firstUnmet(notNegative("mean", mean)); err != nil {
		return Lot{}, err
	}
	q := PoissonQuantile(mean, c.Ratio())
	return Lot{Quantity: float64(q), Cost: NewsvendorPoissonCost(c, mean, q)}, nil
}

// NewsvendorPoissonCost is the expected cost of having q for one Poisson demand.
func NewsvendorPoissonCost(c OneTime, mean float64, q int) float64 {
	short := PoissonLoss(mean, q)
	return c.Over*math.Max(0, float64(q)-mean+short) + c.Under*short
}
