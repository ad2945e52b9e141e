package replenish

import "math"

// Break is a unit price that holds from a quantity on. The first one is from 0.
type Break struct {
	From  float64
	Price float64
}

// Discounted says what buying costs when the price falls with the quantity.
// Holding costs a share of the price per period.
type Discounted struct {
	FixedCost   float64
	HoldingRate float64
	Demand      float64
	Breaks      []Break
}

func (d Discounted) check() error {
	if err := firstUnmet(positive("FixedCost", d.FixedCost), positive("HoldingRate", d.HoldingRate), positive("Demand", d.Demand)); err != nil {
		return err
	}
	if len(d.Breaks) == 0 || d.Breaks[0].From != 0 {
		return &InputError{Field: "Breaks", Value: float64(len(d.Breaks)), Reason: "must begin with a price from quantity 0 on"}
	}
	for i, b := range d.Breaks {
		if err := firstUnmet(positive("Breaks.Price", b.Price)); err != nil {
			return err
		}
		if i > 0 && (b.From <= d.Breaks[i-1].From || b.Price >= d.Breaks[i-1].Price) {
			return &InputError{Field: "Breaks.From", Value: b.From, Reason: "must grow from break to break while the price falls"}
		}
	}
	return nil
}

// end is the quantity below which break i holds.
func (d Discounted) end(i int) float64 {
	if i+1 < len(d.Breaks) {
		return d.Breaks[i+1].From
	}
	return math.Inf(1)
}

// AllUnits is the cheapest lot if the price of the reached break holds for
// every unit of it. The cost contains the material. At most one candidate per
// break: its own economic lot, or its first quantity if that lies above.
func AllUnits(d Discounted) (Lot, error) {
	if err := d.check(); err != nil {
		return Lot{}, err
	}
	best := Lot{Cost: math.Inf(1)}
	for i, b := range d.Breaks {
		o := Ordering{FixedCost: d.FixedCost, HoldingCost: d.HoldingRate * b.Price, Demand: d.Demand}
		lot, err := EOQ(o)
		if err != nil {
			return Lot{}, err
		}
		q := math.Max(lot.Quantity, b.From)
		if q >= d.end(i) {
			continue // a lot of this size has a lower price already
		}
		if cost := o.costOf(q) + d.Demand*b.Price; cost < best.Cost {
			best = Lot{Quantity: q, Cost: cost}
		}
	}
	return best, nil
}

// Incremental is the cheapest lot if each price holds only for the units from
// its break on. The cost contains the material.
func Incremental(d Discounted) (Lot, error) {
	if err := d.check(); err != nil {
		return Lot{}, err
	}
	best := Lot{Cost: math.Inf(1)}
	extra := 0.0 // what the units below the break cost more than at its price
	for i, b := range d.Breaks {
		if i > 0 {
			extra += b.From * (d.Breaks[i-1].Price - b.Price)
		}
		fixed := d.FixedCost + extra
		q := math.Sqrt(2 * fixed * d.Demand / (d.HoldingRate * b.Price))
		if q < b.From || q >= d.end(i) {
			continue
		}
		unit := extra/q + b.Price // average price within the lot
		cost := d.Demand*unit + d.FixedCost*d.Demand/q + d.HoldingRate*unit*q/2
		if cost < best.Cost {
			best = Lot{Quantity: q, Cost: cost}
		}
	}
	return best, nil
}
