package inventory

import (
	"math"
	"math/bits"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/engine/replenish"
	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// wantedFill is the share of units that should come from the shelf, for parts
// without a reorder point of their own. Common practice, no source.
const wantedFill = 0.95

// Holding stock for a year costs so much of what it cost to buy. Common practice,
// no source.
const holdingPerYear = 0.25

// question is what has to be known of a part to say what to buy of it.
type question struct {
	about   *inventoryv1.Part
	stock   replenish.Stock
	rules   replenish.Rules
	jobs    []string  // that wait for it, first come first
	needed  time.Time // turn of the first of them that has one
	why     string    // what the designs of waiting cars mean for it
	sources []source
	worth   worth
	late    []int
}

// questions copies from the state what proposals need, so that they are computed
// while the site's writer goes on.
func (st *State) questions(now time.Time) []question {
	all := make([]question, 0, len(st.parts))
	for number, p := range st.parts {
		all = append(all, st.question(number, p, now))
	}
	return all
}

func (st *State) question(number string, p *part, now time.Time) question {
	q := question{about: p.about, stock: st.stockOf(number), worth: p.worth, late: st.suppliers.lateness(p.about.GetSupplier())}
	q.sources = st.sources(number, p.about)
	q.rules = p.rules(now, q, st.suppliers.terms)
	for _, c := range p.waiting.items {
		q.jobs = append(q.jobs, c.job)
		if turn := st.holds[c.job].doc.GetTurn(); turn != nil && (q.needed.IsZero() || turn.AsTime().Before(q.needed)) {
			q.needed = turn.AsTime()
		}
	}
	q.stock.ComesFree, q.why = st.comesFree(number, p)
	return q
}

// proposal is what to buy of one part, with what it is sorted by: first what jobs
// wait for, then what stock needs; within each by supplier and part, as one
// writes orders.
type proposal struct {
	urgent bool
	buy    *inventoryv1.Proposal
}

func (st *State) stockOf(number string) replenish.Stock {
	p := st.parts[number]
	return replenish.Stock{
		OnHand: p.onHand, Held: p.held, OnOrder: p.onOrder, Wanted: p.wanted,
		Superseded: st.newest(number) != number,
	}
}

// rules are those of the part and of its usual source. Packs and smallest orders
// are the sources' own, where there are any.
func (p *part) rules(now time.Time, q question, terms map[string]*inventoryv1.Supplier) replenish.Rules {
	r := replenish.Rules{
		Reorder: p.about.GetReorderPoint(),
		UpTo:    p.about.GetOrderUpTo(),
		Pack:    p.about.GetPack(),
		Fill:    wantedFill,
		History: p.usage.history(now),
	}
	lead, late := p.about.GetLeadTimeDays(), q.late
	if u := usual(q.sources, p.about); u != nil {
		r.Pack = 0
		lead, late = u.offer.GetLeadTimeDays(), u.late
		// A part's own cost and its price breaks are in one currency with the cost of a line.
		if t := terms[u.offer.GetSupplier()]; t.GetLineCostMinorUnits() > 0 && t.GetCurrencyCode() == u.currency {
			r.OrderCost = float64(t.GetLineCostMinorUnits())
			r.Breaks = breaksOf(u.offer, 1)
			r.HoldingRate = holdingPerYear / usageWeeks
		}
	}
	r.LeadPeriods = (float64(lead) + meanDelay(late)) / 7
	return r
}

// meanDelay is how many days a supplier's deliveries came later on average; early
// ones do not make up for it.
func meanDelay(late []int) float64 {
	if len(late) == 0 {
		return 0
	}
	sum := 0
	for _, days := range late {
		sum += days
	}
	return max(0, float64(sum)/float64(len(late)))
}

func (q *question) answer(buy replenish.Buy, now time.Time) *inventoryv1.Proposal {
	reaches := now.AddDate(0, 0, int(q.about.GetLeadTimeDays()))
	p := &inventoryv1.Proposal{
		Part:                 q.about.GetNumber(),
		Title:                q.about.GetTitle(),
		Supplier:             q.about.GetSupplier(),
		Quantity:             buy.Quantity,
		Cost:                 costOf(q.about, buy.Quantity),
		Reason:               buy.Reason,
		Jobs:                 q.jobs,
		ExpectedIfOrderedNow: timestamppb.New(reaches),
		P80IfOrderedNow:      likelyFrom(q.late, reaches),
		Urgent:               buy.Urgent,
	}
	if q.why != "" {
		p.Reason += "; " + q.why
	}
	if buy.Urgent && !q.needed.IsZero() {
		p.Reason += "; first needed on " + q.needed.Format(time.DateOnly)
	}
	return p
}

// costOf is what a quantity costs to buy, rounded up to the minor unit; nil if
// no cost is known. The cost is for price_quantity units, as the price is. An
// amount that no int64 holds is given as the largest one.
func costOf(about *inventoryv1.Part, quantity int64) *commonv1.Money {
	cost := about.GetCost()
	if cost.GetMinorUnits() <= 0 || quantity < 0 {
		return nil
	}
	per := uint64(max(1, about.GetPriceQuantity()))
	high, low := bits.Mul64(uint64(quantity), uint64(cost.GetMinorUnits())) //nolint:gosec // neither is negative
	low, carry := bits.Add64(low, per-1, 0)
	high += carry
	amount := int64(math.MaxInt64)
	if high < per {
		if q, _ := bits.Div64(high, low, per); q < math.MaxInt64 {
			amount = int64(q)
		}
	}
	return &commonv1.Money{MinorUnits: amount, CurrencyCode: cost.GetCurrencyCode()}
}

// valueOf is what some of a part that lies there cost: at its average, else by
// the part master; nil if neither is known.
func (q *question) valueOf(quantity int64) *commonv1.Money {
	if q.worth.currency == "" {
		return costOf(q.about, quantity)
	}
	value, _ := q.worth.AtAverage(quantity)
	return money(value, q.worth.currency)
}
