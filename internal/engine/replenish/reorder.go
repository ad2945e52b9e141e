package replenish

import "math"

// LeadDemand is the demand while one waits for a delivery, as mean and spread.
type LeadDemand struct {
	Mean float64
	SD   float64
}

// DuringLead combines demand per period (mean and standard deviation) with a
// lead time in periods (mean and standard deviation). Both are taken as
// independent: sd² = L·sd_d² + d²·sd_L².
func DuringLead(demand, demandSD, lead, leadSD float64) LeadDemand {
	return LeadDemand{
		Mean: demand * lead,
		SD:   math.Sqrt(lead*demandSD*demandSD + demand*demand*leadSD*leadSD),
	}
}

// Point is a reorder point, the safety stock within it and the service that it gives.
type Point struct {
	Reorder float64
	Safety  float64
	Z       float64
	// CycleService is the share of order cycles without a shortage (type 1).
	CycleService float64
	// ShortPerCycle is the expected number of units missing per cycle.
	ShortPerCycle float64
}

// at is the point that lies z standard deviations above the mean.
func (l LeadDemand) at(z float64) Point {
	return Point{
		Reorder:       l.Mean + z*l.SD,
		Safety:        z * l.SD,
		Z:             z,
		CycleService:  NormalBelow(z),
		ShortPerCycle: l.SD * NormalLoss(z),
	}
}

func (l LeadDemand) check() error {
	return firstUnmet(notNegative("Mean", l.Mean), positive("SD", l.SD))
}

// ReorderPoint is the stock position at which to order so that a share of the
// cycles sees no shortage (type 1 service).
func ReorderPoint(l LeadDemand, cycleService float64) (Point, error) {
	if err := l.check(); err != nil {
		return Point{}, err
	}
	if err := firstUnmet(inside("cycleService", cycleService)); err != nil {
		return Point{}, err
	}
	return l.at(NormalQuantile(cycleService)), nil
}

// ReorderPointForFill is the stock position at which to order lots of a size so
// that a share of all units is given from the shelf (type 2 service, the fill
// rate). It needs less stock than type 1 for the same figure, since most cycles
// see no shortage and the others a small one.
func ReorderPointForFill(l LeadDemand, lot, fill float64) (Point, error) {
	if err := l.check(); err != nil {
		return Point{}, err
	}
	if err := firstUnmet(positive("lot", lot), inside("fill", fill)); err != nil {
		return Point{}, err
	}
	return l.at(normalLossInverse(lot * (1 - fill) / l.SD)), nil
}

// LotAndPoint is an order quantity together with the point at which it is ordered.
type LotAndPoint struct {
	Lot   float64
	Point Point
}

// BestLotAndPoint finds quantity and reorder point together, when a missing
// unit costs something once: the two conditions of optimality in turn until
// they agree to 1e-9 (Hadley and Whitin). firstPoint is the start value, of
// the plain EOQ.
func BestLotAndPoint(o Ordering, l LeadDemand, shortCost float64) (best LotAndPoint, firstPoint float64, err error) {
	lot, err := EOQ(o)
	if err == nil {
		err = l.check()
	}
	if err == nil {
		err = firstUnmet(positive("shortCost", shortCost))
	}
	if err != nil {
		return LotAndPoint{}, 0, err
	}
	q := lot.Quantity
	for i := 0; ; i++ {
		tail := q * o.HoldingCost / (shortCost * o.Demand)
		if tail >= 1 {
			return LotAndPoint{}, 0, &InputError{
				Field: "shortCost", Value: shortCost,
				Reason: "is so low that it would pay to be always out of stock",
			}
		}
		p := l.at(NormalQuantile(1 - tail))
		if i == 0 {
			firstPoint = p.Reorder
		}
		next := math.Sqrt(2 * o.Demand * (o.FixedCost + shortCost*p.ShortPerCycle) / o.HoldingCost)
		if math.Abs(next-q) < 1e-9*q || i == maxRounds {
			return LotAndPoint{Lot: next, Point: p}, firstPoint, nil
		}
		q = next
	}
}

// maxRounds is never reached by inputs that converge: they need about five.
const maxRounds = 200
