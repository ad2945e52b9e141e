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

// proposal is what to buy of one part, with what it is sorted by.
type proposal struct {
	urgent bool
	buy    *inventoryv1.Proposal
}

// proposeOrders says what to buy today: first what jobs wait for, then what
// stock needs; within each by supplier and part, as one writes orders.
func proposeOrders(st *State, now time.Time) ([]*inventoryv1.Proposal, error) {
	var all []proposal
	for number, p := range st.parts {
		buy, err := replenish.Propose(st.stockOf(number), p.rules(now))
		if err != nil {
			return nil, fmt.Errorf("propose %s: %w", number, err)
		}
		if buy.Quantity > 0 {
			all = append(all, proposal{buy.Urgent, p.proposal(buy, now)})
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

func (p *part) proposal(buy replenish.Buy, now time.Time) *inventoryv1.Proposal {
	jobs := make([]string, 0, len(p.waiting.items))
	for _, c := range p.waiting.items {
		jobs = append(jobs, c.job)
	}
	return &inventoryv1.Proposal{
		Part:                 p.about.GetNumber(),
		Title:                p.about.GetTitle(),
		Supplier:             p.about.GetSupplier(),
		Quantity:             buy.Quantity,
		Cost:                 p.costOf(buy.Quantity),
		Reason:               buy.Reason,
		Jobs:                 jobs,
		ExpectedIfOrderedNow: timestamppb.New(now.AddDate(0, 0, int(p.about.GetLeadTimeDays()))),
	}
}

// costOf is what a quantity costs to buy, rounded up to the minor unit; nil if
// no cost is known. The cost is for price_quantity units, as the price is. An
// amount that no int64 holds is given as the largest one.
func (p *part) costOf(quantity int64) *commonv1.Money {
	cost := p.about.GetCost()
	if cost.GetMinorUnits() <= 0 || quantity < 0 {
		return nil
	}
	per := uint64(max(1, p.about.GetPriceQuantity()))
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
