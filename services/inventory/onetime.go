package inventory

import (
	"fmt"
	"math"
	"time"

	"ramprow/internal/engine/replenish"
	moneytext "ramprow/internal/money"
	"ramprow/internal/platform/fault"
	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// oneTimeBuy says how many to have of a part that cannot be bought again, for the
// demand of so many weeks: as many as make one more not worth its risk.
func oneTimeBuy(q question, req *inventoryv1.GetOneTimeBuyRequest) (*inventoryv1.GetOneTimeBuyResponse, error) {
	costs, currency, err := q.risk(req)
	if err != nil {
		return nil, err
	}
	demand, err := q.demandOf(req.GetWeeks())
	if err != nil {
		return nil, err
	}
	var lot replenish.Lot
	enough := 0.0
	spread := "like chance (Poisson)"
	if demand.SD*demand.SD > demand.Mean*1.05 {
		if lot, err = replenish.NewsvendorNormal(costs, demand.Mean, demand.SD); err == nil {
			lot.Quantity = math.Max(0, math.Ceil(lot.Quantity))
			enough = replenish.NormalBelow((lot.Quantity - demand.Mean) / demand.SD)
		}
		spread = fmt.Sprintf("by %.3g (normal)", demand.SD)
	} else if lot, err = replenish.NewsvendorPoisson(costs, demand.Mean); err == nil {
		enough = replenish.PoissonAtMost(demand.Mean, int(lot.Quantity))
	}
	if err != nil {
		return nil, fmt.Errorf("buy once: %w", err)
	}
	r := &inventoryv1.GetOneTimeBuyResponse{Target: int64(lot.Quantity), ExpectedDemand: demand.Mean, Enough: enough}
	r.Quantity = max(0, r.GetTarget()-q.stock.Position())
	digits := moneytext.Digits(currency)
	r.Why = []string{
		fmt.Sprintf("%.3g are expected to go in %d weeks, spread %s", demand.Mean, req.GetWeeks(), spread),
		fmt.Sprintf("one that is missing loses %s %s, one that is left %s: worth being enough with %.0f%%",
			moneytext.Format(int64(costs.Under), digits), currency, moneytext.Format(int64(costs.Over), digits), 100*costs.Ratio()),
		fmt.Sprintf("%d should be there; %d are free or on order after all jobs are served, so buy %d", r.GetTarget(), q.stock.Position(), r.GetQuantity()),
	}
	return r, nil
}

// risk is what it costs to be wrong, in minor units for each unit of the part.
func (q *question) risk(req *inventoryv1.GetOneTimeBuyRequest) (replenish.OneTime, string, error) {
	missing, left := req.GetMissing(), req.GetLeft()
	per := float64(max(1, q.about.GetPriceQuantity()))
	price, cost := q.about.GetPrice(), q.about.GetCost()
	c := replenish.OneTime{Under: float64(missing.GetMinorUnits()), Over: float64(left.GetMinorUnits())}
	currency := missing.GetCurrencyCode()
	if missing == nil {
		c.Under, currency = float64(price.GetMinorUnits()-cost.GetMinorUnits())/per, price.GetCurrencyCode()
	}
	if left == nil {
		c.Over, left = float64(cost.GetMinorUnits())/per, cost
	}
	if !(c.Under > 0 && c.Over > 0) || currency != left.GetCurrencyCode() || !isCurrency(currency) || c.Under > maxMoney || c.Over > maxMoney {
		return c, "", fault.New(fault.Invalid, "RISK_UNKNOWN",
			"what one too few and one too many of %s cost does not follow from its price and cost; give both, in one currency", q.about.GetNumber()).
			WithField("missing", "must be above 0").WithField("left", "must be above 0, in the same currency")
	}
	return c, currency, nil
}

// demandOf is the demand of so many weeks by the part's history.
func (q *question) demandOf(weeks int32) (replenish.LeadDemand, error) {
	profile, err := replenish.Classify(q.rules.History)
	if err != nil || len(q.rules.History) < enoughWeeks {
		return replenish.LeadDemand{}, fault.New(fault.Precondition, "HISTORY_TOO_SHORT",
			"%d weeks of %s are known, and %d are needed; wait, or judge by hand", len(q.rules.History), q.about.GetNumber(), enoughWeeks).
			With("part", q.about.GetNumber())
	}
	return replenish.DuringLead(profile.Mean, profile.SD, float64(weeks), 0), nil
}

// enoughWeeks is what a demand is judged by at least. Common practice, no source.
const enoughWeeks = 12

// Classes by the share of the year's value, as is usual: A up to 80 %, B up to
// 95 %. Common practice, no source.
const (
	aShare = 0.80
	bShare = 0.95
)

// used is what went of a part in the last year.
type used struct {
	about    *inventoryv1.Part
	value    int64
	currency string
	history  []float64
}

// uses copies from the state what classes need.
func (st *State) uses(now time.Time) map[string]used {
	all := make(map[string]used, len(st.parts))
	for number, p := range st.parts {
		u := used{about: p.about, currency: p.worth.currency, history: p.usage.history(now)}
		taken := 0.0
		for _, n := range u.history {
			taken += n
		}
		if cost := listedCost(p.about, int64(taken)); p.worth.Last.Quantity > 0 && p.worth.currency != "" {
			u.value, _ = p.worth.AtAverage(int64(taken))
		} else if cost != nil {
			u.value, u.currency = cost.GetMinorUnits(), cost.GetCurrencyCode()
		}
		all[number] = u
	}
	return all
}

// classes ranks parts by the value of what went.
func classes(all map[string]used) ([]*inventoryv1.PartClass, error) {
	items := make([]replenish.Item, 0, len(all))
	for number, u := range all {
		items = append(items, replenish.Item{Name: number, Value: float64(u.value)})
	}
	ranked, err := replenish.ABC(items, aShare, bShare)
	if err != nil {
		return nil, fmt.Errorf("rank the parts: %w", err)
	}
	listed := make([]*inventoryv1.PartClass, 0, len(ranked))
	for _, r := range ranked {
		u := all[r.Name]
		c := &inventoryv1.PartClass{
			Part: r.Name, Title: u.about.GetTitle(), Class: string(rune(r.Class)), Share: 100 * r.Share, Cumulative: 100 * r.Cumulative,
			Value: &commonv1.Money{MinorUnits: u.value, CurrencyCode: u.currency},
		}
		if profile, err := replenish.Classify(u.history); err == nil && len(u.history) >= enoughWeeks && r.Value > 0 {
			c.Demand = profile.Class.String()
		}
		listed = append(listed, c)
	}
	return listed, nil
}
