package replenish

import "math"

// MinMax is an (s, S) policy: at each review, a position at or below Reorder is
// brought up to UpTo.
type MinMax struct {
	Reorder int
	UpTo    int
	Cost    float64 // per period
}

// PoissonMinMaxCost is the exact cost per period of an (s, S) policy under
// Poisson demand per period, delivered before it comes (Zheng and Federgruen).
// With a lead time, give the demand of lead time and review in cover, and that of
// the review period in demand.
func PoissonMinMaxCost(b Backordered, demand, cover float64, reorder, upTo int) (float64, error) {
	if err := b.check(); err != nil {
		return 0, err
	}
	if err := firstUnmet(positive("demand", demand), positive("cover", cover),
		need{"upTo", float64(upTo), upTo > reorder, "must be above the reorder point"}); err != nil {
		return 0, err
	}
	visits := renewals(demand, upTo-reorder)
	cost, time := b.FixedCost, 0.0
	for j, v := range visits {
		cost += v * b.poissonCost(cover, upTo-j)
		time += v
	}
	return cost / time, nil
}

// renewals gives how often the position is found j below its top in one cycle,
// for each j below n.
func renewals(demand float64, n int) []float64 {
	visits := make([]float64, n)
	again := 1 - PoissonExactly(demand, 0)
	visits[0] = 1 / again
	for j := 1; j < n; j++ {
		for k := 1; k <= j; k++ {
			visits[j] += PoissonExactly(demand, k) * visits[j-k]
		}
		visits[j] /= again
	}
	return visits
}

// PoissonMinMax is the cheapest (s, S) policy. It looks at every pair that can be
// best: s from far below the cheapest position y* up to it, and S from there up to
// where a position alone costs more than the best policy. O(n³) for n positions,
// which are few for the slow parts that it is meant for.
func PoissonMinMax(b Backordered, demand, cover float64) (MinMax, error) {
	if err := b.check(); err != nil {
		return MinMax{}, err
	}
	if err := firstUnmet(positive("demand", demand), positive("cover", cover)); err != nil {
		return MinMax{}, err
	}
	cheapest := PoissonQuantile(cover, b.Waiting/(b.Waiting+b.Holding))
	best := MinMax{Cost: math.Inf(1)}
	for upTo := cheapest; b.poissonCost(cover, upTo) <= best.Cost; upTo++ {
		for reorder := upTo - 1; reorder >= -1 || b.poissonCost(cover, reorder+1) <= best.Cost; reorder-- {
			cost, err := PoissonMinMaxCost(b, demand, cover, reorder, upTo)
			if err != nil {
				return MinMax{}, err
			}
			if cost < best.Cost {
				best = MinMax{Reorder: reorder, UpTo: upTo, Cost: cost}
			}
		}
	}
	return best, nil
}

// Lots is a plan of orders for known demands.
type Lots struct {
	Orders []float64 // what arrives in each period
	// CostFrom is the least cost of meeting the demands from each period on.
	CostFrom []float64
}

// WagnerWhitin is the cheapest way to meet known demands: each order costs
// fixed, each unit kept to the next period costs holding. O(n²).
func WagnerWhitin(fixed, holding float64, demands []float64) (Lots, error) {
	if err := firstUnmet(notNegative("fixed", fixed), notNegative("holding", holding)); err != nil {
		return Lots{}, err
	}
	for _, d := range demands {
		if err := firstUnmet(notNegative("demands", d)); err != nil {
			return Lots{}, err
		}
	}
	n := len(demands)
	cost, covers := make([]float64, n+1), make([]int, n)
	for t := n - 1; t >= 0; t-- {
		cost[t] = math.Inf(1)
		kept := 0.0
		for next := t + 1; next <= n; next++ { // one order for t up to next-1
			kept += holding * float64(next-1-t) * demands[next-1]
			if c := fixed + kept + cost[next]; c < cost[t] {
				cost[t], covers[t] = c, next
			}
		}
	}
	lots := Lots{Orders: make([]float64, n), CostFrom: cost[:n]}
	for t := 0; t < n; t = covers[t] {
		for _, d := range demands[t:covers[t]] {
			lots.Orders[t] += d
		}
	}
	return lots, nil
}
