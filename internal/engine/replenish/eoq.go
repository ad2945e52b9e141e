package replenish

import "math"

// Lot is an order quantity and what it costs per period, material not included
// unless said otherwise.
type Lot struct {
	Quantity float64
	Cost     float64
	// ShortShare is the share of time out of stock, if shortages are planned.
	ShortShare float64
}

// Ordering says what ordering and holding cost.
type Ordering struct {
	FixedCost   float64 // per order
	HoldingCost float64 // per unit and period
	Demand      float64 // units per period
}

func (o Ordering) check() error {
	return firstUnmet(positive("FixedCost", o.FixedCost), positive("HoldingCost", o.HoldingCost), positive("Demand", o.Demand))
}

// EOQ is the economic order quantity: the lot at which ordering and holding
// cost the same, sqrt(2KD/h). The cost is flat around it: half or double the
// quantity costs a quarter more, so rounding to packs is harmless.
func EOQ(o Ordering) (Lot, error) {
	if err := o.check(); err != nil {
		return Lot{}, err
	}
	q := math.Sqrt(2 * o.FixedCost * o.Demand / o.HoldingCost)
	return Lot{Quantity: q, Cost: o.costOf(q)}, nil
}

// costOf is ordering and holding per period with lots of q.
func (o Ordering) costOf(q float64) float64 {
	return o.FixedCost*o.Demand/q + o.HoldingCost*q/2
}

// EOQWithBackorders is the economic lot if customers wait at a cost per unit
// and period.
func EOQWithBackorders(o Ordering, waitingCost float64) (Lot, error) {
	if err := o.check(); err != nil {
		return Lot{}, err
	}
	if err := firstUnmet(positive("waitingCost", waitingCost)); err != nil {
		return Lot{}, err
	}
	h, p := o.HoldingCost, waitingCost
	base := 2 * o.FixedCost * o.Demand
	return Lot{
		Quantity:   math.Sqrt(base * (h + p) / (h * p)),
		Cost:       math.Sqrt(base * h * p / (h + p)),
		ShortShare: h / (h + p),
	}, nil
}

// EPQ is the economic lot if stock comes in at a rate instead of at once.
func EPQ(o Ordering, rate float64) (Lot, error) {
	if err := o.check(); err != nil {
		return Lot{}, err
	}
	if err := firstUnmet(need{"rate", rate, rate > o.Demand, "must be above the demand, or stock never builds up"}); err != nil {
		return Lot{}, err
	}
	slower := o
	slower.HoldingCost *= 1 - o.Demand/rate
	return EOQ(slower)
}
