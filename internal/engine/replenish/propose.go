package replenish

import (
	"fmt"
	"math"
)

// MaxQuantity bounds every quantity that is proposed or computed with.
const MaxQuantity = 1_000_000_000_000

// Stock is what is known of one part when the question is what to buy of it.
// Quantities are whole numbers of the part's unit.
type Stock struct {
	OnHand  int64
	Held    int64 // of what is on hand, for jobs
	OnOrder int64 // not yet arrived
	Wanted  int64 // by jobs, and not on hand for them
	// ComesFree is what of Held and Wanted is for alternatives and will hardly be
	// needed: it counts for the reorder point as if it were free already.
	ComesFree int64
	// Superseded parts are bought for waiting jobs only.
	Superseded bool
}

// Position is what would be free if all orders arrived and all jobs were served.
func (s Stock) Position() int64 { return s.OnHand - s.Held + s.OnOrder - s.Wanted }

// Rules are how a part is to be bought.
type Rules struct {
	// Reorder and UpTo are set by people; both 0: Demand decides.
	Reorder int64
	UpTo    int64
	Pack    int64 // smallest pack; 0 means 1
	Minimum int64 // smallest order
	// LeadPeriods is the lead time in periods of the history.
	LeadPeriods float64
	// Fill is the wanted fill rate for parts without a reorder point.
	Fill float64
	// OrderCost per order and HoldingCost per unit and period; 0: no EOQ.
	OrderCost   float64
	HoldingCost float64
	// Breaks are unit prices from a quantity on, the first one from 0; with them the
	// cheapest lot is sought, and holding a unit costs HoldingRate of its price per period.
	Breaks      []Break
	HoldingRate float64
	// History is demand per period, oldest first; too short: no proposal from it.
	History []float64
}

// Buy is a proposal: how much, and why in one line. Quantity 0: nothing to buy.
type Buy struct {
	Quantity int64
	Reason   string
	// Urgent is set when somebody waits for it.
	Urgent bool
}

// Propose says how much of a part to buy. Jobs that wait and that no order
// covers come first; then the reorder point, set by people or computed from
// the history. Both may add up in one order.
func Propose(s Stock, r Rules) (Buy, error) {
	if err := checkQuantities(s, r); err != nil {
		return Buy{}, err
	}
	missing := s.Wanted - s.OnOrder
	level, err := r.level()
	if err != nil {
		return Buy{}, err
	}
	var b Buy
	if missing > 0 {
		b.Urgent = true
		b.Quantity = missing
		b.Reason = fmt.Sprintf("jobs wait for %d and %d are on order", s.Wanted, s.OnOrder)
	}
	if free := s.Position() + s.ComesFree; !s.Superseded && level.known && free <= level.reorder {
		b.Quantity = max(b.Quantity, level.upTo-free)
		held := ""
		if s.ComesFree > 0 {
			held = fmt.Sprintf(" and %d back from alternatives", s.ComesFree)
		}
		b.Reason = joinReasons(b.Reason, fmt.Sprintf("%d free with all orders in%s, %s", free, held, level.reason))
	}
	if b.Quantity <= 0 {
		return Buy{}, nil
	}
	wanted := b.Quantity
	b.Quantity = InPacks(max(wanted, r.Minimum), r.Pack)
	if b.Quantity != wanted {
		b.Reason += fmt.Sprintf("; %d made %d by pack or minimum", wanted, b.Quantity)
	}
	return b, nil
}

func joinReasons(first, second string) string {
	if first == "" {
		return second
	}
	return first + "; " + second
}

func checkQuantities(s Stock, r Rules) error {
	for _, q := range []struct {
		field string
		value int64
	}{
		{"OnHand", s.OnHand},
		{"Held", s.Held},
		{"OnOrder", s.OnOrder},
		{"Wanted", s.Wanted},
		{"ComesFree", s.ComesFree},
		{"Reorder", r.Reorder},
		{"UpTo", r.UpTo},
		{"Pack", r.Pack},
		{"Minimum", r.Minimum},
	} {
		if q.value < 0 || q.value > MaxQuantity {
			return &InputError{Field: q.field, Value: float64(q.value), Reason: fmt.Sprintf("must lie between 0 and %d", int64(MaxQuantity))}
		}
	}
	return firstUnmet(notNegative("LeadPeriods", r.LeadPeriods), notNegative("OrderCost", r.OrderCost), notNegative("HoldingCost", r.HoldingCost), notNegative("HoldingRate", r.HoldingRate))
}

// InPacks rounds a quantity up to whole packs.
func InPacks(quantity, pack int64) int64 {
	if pack <= 1 || quantity <= 0 {
		return max(quantity, 0)
	}
	return (quantity + pack - 1) / pack * pack
}

// level is when to order and up to where.
type level struct {
	known   bool
	reorder int64
	upTo    int64
	reason  string
}

// Below this many periods, or demands in them, a history says too little: the
// class cut-offs and the spread need a handful of demands at least. Common
// practice, no source.
const (
	enoughPeriods = 12
	enoughDemands = 3
)

func (r Rules) level() (level, error) {
	if r.Reorder > 0 || r.UpTo > 0 {
		return level{
			known: true, reorder: r.Reorder, upTo: max(r.UpTo, r.Reorder+1),
			reason: fmt.Sprintf("at or below the reorder point of %d", r.Reorder),
		}, nil
	}
	profile, err := Classify(r.History)
	if err != nil {
		return level{}, err
	}
	demands := 0
	for _, d := range r.History {
		if d > 0 {
			demands++
		}
	}
	if len(r.History) < enoughPeriods || demands < enoughDemands {
		return level{}, nil
	}
	return r.fromDemand(profile)
}

// historySmoothing is the usual weight for slow parts, where a single demand
// says little. Common practice, no source.
const historySmoothing = 0.1

// fromDemand computes the level from the history: the forecast gives the rate,
// and the history's own spread the safety.
func (r Rules) fromDemand(p Profile) (level, error) {
	rate, err := Forecast(MethodFor(p.Class), r.History, Smoothing{Size: historySmoothing})
	if err != nil || rate == 0 {
		return level{}, err
	}
	lot, err := r.lot(rate)
	if err != nil {
		return level{}, err
	}
	reorder, err := Reviewed{Mean: rate, Variance: p.SD * p.SD, Lead: r.LeadPeriods}.ReorderForFill(lot, r.Fill)
	if err != nil {
		return level{}, err
	}
	reason := fmt.Sprintf("%s demand of %.2g a period, %.0f%% from the shelf needs %d when ordering", p.Class, rate, 100*r.Fill, reorder)
	if r.OrderCost > 0 {
		reason += fmt.Sprintf(", lots of %d cost least", lot)
	}
	return level{known: true, reorder: reorder, upTo: reorder + lot, reason: reason}, nil
}

// lot is the economic quantity, or one period's demand if costs are unknown.
func (r Rules) lot(rate float64) (int64, error) {
	if r.OrderCost > 0 && r.HoldingRate > 0 && len(r.Breaks) > 0 {
		lot, err := AllUnits(Discounted{FixedCost: r.OrderCost, HoldingRate: r.HoldingRate, Demand: rate, Breaks: r.Breaks})
		if err != nil {
			return 0, err
		}
		return wholeLot(lot), nil
	}
	if r.OrderCost == 0 || r.HoldingCost == 0 {
		return int64(math.Max(1, math.Ceil(rate))), nil
	}
	lot, err := EOQ(Ordering{FixedCost: r.OrderCost, HoldingCost: r.HoldingCost, Demand: rate})
	if err != nil {
		return 0, err
	}
	return wholeLot(lot), nil
}

func wholeLot(lot Lot) int64 {
	return int64(math.Max(1, math.Min(math.Round(lot.Quantity), MaxQuantity)))
}
