package replenish

import "math"

// Backordered says what ordering, holding and being short cost when customers
// wait: Holding and Waiting per unit and period.
type Backordered struct {
	FixedCost float64
	Holding   float64
	Waiting   float64
}

func (b Backordered) check() error {
	return firstUnmet(positive("FixedCost", b.FixedCost), positive("Holding", b.Holding), positive("Waiting", b.Waiting))
}

// poissonCost is the expected cost per period of a stock position y before a
// Poisson lead-time demand.
func (b Backordered) poissonCost(lead float64, y int) float64 {
	short := PoissonLoss(lead, y)
	return b.Holding*(float64(y)-lead+short) + b.Waiting*short
}

// RQ is a policy: order Lot whenever the stock position falls to Reorder.
type RQ struct {
	Reorder int
	Lot     int
	Cost    float64 // per period
}

// PoissonRQCost is the exact cost per period of an (r, Q) policy when single
// units are asked for at a rate, and the lead time is fixed in periods. The
// position is then equally often at each of r+1 to r+Q.
func PoissonRQCost(b Backordered, rate, leadTime float64, reorder, lot int) (float64, error) {
	if err := b.check(); err != nil {
		return 0, err
	}
	if err := firstUnmet(positive("rate", rate), notNegative("leadTime", leadTime), positive("lot", float64(lot))); err != nil {
		return 0, err
	}
	sum := b.FixedCost * rate
	for y := reorder + 1; y <= reorder+lot; y++ {
		sum += b.poissonCost(rate*leadTime, y)
	}
	return sum / float64(lot), nil
}

// PoissonRQ is the cheapest (r, Q) policy (Federgruen and Zheng): the cost of a
// position is convex, so the best window of positions grows by its cheaper
// neighbour for as long as that one costs less than the average so far.
func PoissonRQ(b Backordered, rate, leadTime float64) (RQ, error) {
	if err := b.check(); err != nil {
		return RQ{}, err
	}
	if err := firstUnmet(positive("rate", rate), notNegative("leadTime", leadTime)); err != nil {
		return RQ{}, err
	}
	lead := rate * leadTime
	low := PoissonQuantile(lead, b.Waiting/(b.Waiting+b.Holding))
	high := low
	sum := b.FixedCost*rate + b.poissonCost(lead, low)
	for {
		below, above := b.poissonCost(lead, low-1), b.poissonCost(lead, high+1)
		next := math.Min(below, above)
		if next >= sum/float64(high-low+1) {
			return RQ{Reorder: low - 1, Lot: high - low + 1, Cost: sum / float64(high-low+1)}, nil
		}
		sum += next
		if below <= above {
			low--
		} else {
			high++
		}
	}
}

// NormalRQCost is the cost per period of an (r, Q) policy under normal lead-time
// demand, with demand per period. It integrates the cost of each position between
// r and r+Q, which takes the second-order loss.
func NormalRQCost(b Backordered, demand float64, l LeadDemand, reorder, lot float64) (float64, error) {
	if err := b.check(); err != nil {
		return 0, err
	}
	if err := l.check(); err != nil {
		return 0, err
	}
	if err := firstUnmet(positive("demand", demand), positive("lot", lot)); err != nil {
		return 0, err
	}
	short := l.SD * l.SD / lot * (secondLoss((reorder-l.Mean)/l.SD) - secondLoss((reorder+lot-l.Mean)/l.SD))
	onHand := reorder + lot/2 - l.Mean + short
	return b.FixedCost*demand/lot + b.Holding*onHand + b.Waiting*short, nil
}

// secondLoss is the integral of NormalLoss from z on.
func secondLoss(z float64) float64 {
	return ((z*z+1)*NormalBelow(-z) - z*NormalDensity(z)) / 2
}
