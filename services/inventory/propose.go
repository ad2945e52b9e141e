package inventory

import (
	"cmp"
	"fmt"
	"math"
	"math/bits"
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/engine/replenish"
	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// wantedFill is the share of units that should come from the shelf, for parts
// without a reorder point of their own. Common practice, no source.
const wantedFill = 0.95

// question is what has to be known of a part to say what to buy of it.
type question struct {
	about *inventoryv1.Part
	stock replenish.Stock
	rules replenish.Rules
	jobs  []string // that wait for it, first come first
}

// questions copies from the state what proposals need, so that they are computed
// while the site's writer goes on.
func (st *State) questions(now time.Time) []question {
	all := make([]question, 0, len(st.parts))
	for number, p := range st.parts {
		q := question{about: p.about, stock: st.stockOf(number), rules: p.rules(now)}
		for _, c := range p.waiting.items {
			q.jobs = append(q.jobs, c.job)
		}
		all = append(all, q)
	}
	return all
}

// proposal is what to buy of one part, with what it is sorted by.
type proposal struct {
	urgent bool
	buy    *inventoryv1.Proposal
}

// proposeOrders says what to buy today: first what jobs wait for, then what
// stock needs; within each by supplier and part, as one writes orders.
func proposeOrders(questions []question, now time.Time) ([]*inventoryv1.Proposal, error) {
	var all []proposal
	for _, q := range questions {
		buy, err := replenish.Propose(q.stock, q.rules)
		if err != nil {
			return nil, fmt.Errorf("propose %s: %w", q.about.GetNumber(), err)
		}
		if buy.Quantity > 0 {
			all = append(all, proposal{buy.Urgent, q.answer(buy, now)})
		}
	}
	slices.SortFunc(all, func(a, b proposal) int {
		if a.urgent != b.urgent {
			if a.urgent {
				return -1
			}
			return 1
		}
		return cmp.Or(strings.Compare(a.buy.GetSupplier(), b.buy.GetSupplier()), strings.Compare(a.buy.GetPart(), b.buy.GetPart()))
	})
	proposals := make([]*inventoryv1.Proposal, 0, len(all))
	for _, p := range all {
		proposals = append(proposals, p.buy)
	}
	return proposals, nil
}

func (st *State) stockOf(number string) replenish.Stock {
	p := st.parts[number]
	return replenish.Stock{
		OnHand: p.onHand, Held: p.held, OnOrder: p.onOrder, Wanted: p.wanted,
		Superseded: st.newest(number) != number,
	}
}

func (p *part) rules(now time.Time) replenish.Rules {
	return replenish.Rules{
		Reorder:     p.about.GetReorderPoint(),
		UpTo:        p.about.GetOrderUpTo(),
		Pack:        p.about.GetPack(),
		LeadPeriods: float64(p.about.GetLeadTimeDays()) / 7,
		Fill:        wantedFill,
		History:     p.usage.history(now),
	}
}

func (q question) answer(buy replenish.Buy, now time.Time) *inventoryv1.Proposal {
	return &inventoryv1.Proposal{
		Part:                 q.about.GetNumber(),
		Title:                q.about.GetTitle(),
		Supplier:             q.about.GetSupplier(),
		Quantity:             buy.Quantity,
		Cost:                 costOf(q.about, buy.Quantity),
		Reason:               buy.Reason,
		Jobs:                 q.jobs,
		ExpectedIfOrderedNow: timestamppb.New(now.AddDate(0, 0, int(q.about.GetLeadTimeDays()))),
	}
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
