package replenish

import (
	"math"
	"sort"
)

// secondOrder is a distribution's loss summed from a whole x on (for whole
// demand) or integrated (for normal demand): what one needs to average the loss
// over a stretch of stock positions.
type secondOrder func(x int64) float64

// over is the mean loss at the positions of a lot above a reorder point.
func (s secondOrder) over(reorder, lot int64) float64 {
	return (s(reorder) - s(reorder+lot)) / float64(lot)
}

// normalFrom is the mean demand above which whole numbers stop to matter and a
// normal one will do. Common practice, no source.
const normalFrom = 50

// secondOrderOf takes demand of a mean and a variance as Poisson where the variance is
// not above the mean, as negative binomial, its usual companion for demand in
// batches, where it is, and as normal where it is large.
func secondOrderOf(mean, variance float64) secondOrder {
	if mean < normalFrom {
		return wholeSecondOrder(mean, variance)
	}
	sd := math.Sqrt(variance)
	return func(x int64) float64 {
		if sd == 0 {
			return math.Pow(math.Max(0, mean-float64(x)), 2) / 2
		}
		return variance * secondLoss((float64(x)-mean)/sd)
	}
}

// wholeSecondOrder sums over a table; beyond its end less than 1e-6 of the demands are left.
func wholeSecondOrder(mean, variance float64) secondOrder {
	table := tails(mean, variance)
	for range 2 { // P(D > k) summed is the loss at k, and summed again what is wanted
		for k := len(table) - 2; k >= 0; k-- {
			table[k] += table[k+1]
		}
	}
	return func(x int64) float64 {
		// The stretch above x begins at x+1.
		if x+1 < int64(len(table)) {
			return table[x+1]
		}
		return 0
	}
}

// maxCount bounds the table. Demands that need more are normal in all but name.
const maxCount = 20_000

// tails lists P(D > k). Both families obey p(k+1) = p(k) (a + bk) / (k+1).
func tails(mean, variance float64) []float64 {
	p, a, b := math.Exp(-mean), mean, 0.0
	if variance > mean*(1+1e-9) {
		b = 1 - mean/variance
		a = mean * mean / variance
		p = math.Pow(mean/variance, mean*mean/(variance-mean))
	}
	var above []float64
	left := 1 - p
	for k := 0; left > 1e-6 && k < maxCount; k++ {
		above = append(above, left)
		p *= (a + b*float64(k)) / float64(k+1)
		left -= p
	}
	return above
}

// Reviewed is a stock that is looked at once a period, with demand per period and
// a lead time in periods.
type Reviewed struct {
	Mean     float64
	Variance float64
	Lead     float64
}

// ReorderForFill is the lowest whole reorder point, not below 0, at which lots of
// a size give a fill rate. What is short in a period is what is short by its end
// less what was short at its beginning, each averaged over the positions between
// the point and a lot above it.
func (r Reviewed) ReorderForFill(lot int64, fill float64) (int64, error) {
	if err := firstUnmet(positive("Mean", r.Mean), notNegative("Variance", r.Variance), notNegative("Lead", r.Lead),
		positive("lot", float64(lot)), inside("fill", fill)); err != nil {
		return 0, err
	}
	end := secondOrderOf(r.Mean*(r.Lead+1), r.Variance*(r.Lead+1))
	start := secondOrderOf(r.Mean*r.Lead, r.Variance*r.Lead)
	enough := func(reorder int) bool {
		short := end.over(int64(reorder), lot) - start.over(int64(reorder), lot)
		return short <= (1-fill)*r.Mean
	}
	bound := 1
	for !enough(bound) && bound < MaxQuantity {
		bound *= 2
	}
	return int64(sort.Search(bound, enough)), nil
}
