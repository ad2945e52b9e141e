package inventory

import (
	"google.golang.org/protobuf/proto"

	"ramprow/internal/engine/replenish"
	"ramprow/internal/platform/fault"
	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// worth is what lies there of a part and what it cost, by moving average, in
// minor units of one currency; without a currency no cost was ever known.
type worth struct {
	replenish.Worth
	currency string
}

// moved gives what a movement makes of it. What comes in costs what was paid; else,
// for goods, what the part master says; else the average, also the last one of
// an empty shelf, so that returns and counts do not change the average. What goes
// takes the average along.
func (w worth) moved(about *inventoryv1.Part, c change) (after worth, value int64) {
	if c.quantity < 0 {
		w.Worth, value = w.Take(-c.quantity)
		return w, -value
	}
	cost := c.cost
	goods := c.kind == inventoryv1.MovementKind_MOVEMENT_KIND_RECEIVED
	average, known := w.AtAverage(c.quantity)
	if cost == nil && (goods || w.currency == "" || !known) {
		cost = listedCost(about, c.quantity)
	}
	if cost != nil && w.takes(cost.GetCurrencyCode()) {
		w.currency = cost.GetCurrencyCode()
		w.Worth = w.Receive(c.quantity, cost.GetMinorUnits())
		return w, cost.GetMinorUnits()
	}
	w.Worth = w.Receive(c.quantity, average)
	return w, average
}

// takes tells whether an amount can be added: the value is in its currency, or nothing.
func (w worth) takes(currency string) bool {
	return currency != "" && (w.currency == "" || w.currency == currency || w.Quantity == 0)
}

// money is the whole value; nil: no cost was ever known.
func (w worth) money() *commonv1.Money {
	if w.currency == "" {
		return nil
	}
	return money(w.Value, w.currency)
}

// listedCost is what a quantity costs by the part master, rounded half up; nil if
// that knows no cost.
func listedCost(about *inventoryv1.Part, quantity int64) *commonv1.Money {
	cost := about.GetCost()
	if cost.GetMinorUnits() <= 0 || cost.GetCurrencyCode() == "" {
		return nil
	}
	return money(replenish.ShareOf(cost.GetMinorUnits(), quantity, max(1, about.GetPriceQuantity())), cost.GetCurrencyCode())
}

// valued gives a movement with what it means for the value. One of an earlier
// program does not say so, and gets it here, by the same rule.
func (p *part) valued(m *inventoryv1.Movement) *inventoryv1.Movement {
	if m.GetCurrencyCode() != "" {
		p.worth.currency = m.GetCurrencyCode()
		p.worth.Quantity += m.GetQuantity()
		p.worth.Value = 0
		p.worth.Worth = p.worth.Correct(m.GetValueAfterMinorUnits())
		return m
	}
	after, value := p.worth.moved(p.about, change{kind: m.GetKind(), quantity: m.GetQuantity()})
	if p.worth = after; after.currency == "" {
		return m
	}
	m = proto.CloneOf(m)
	m.ValueMinorUnits, m.ValueAfterMinorUnits, m.CurrencyCode = value, after.Value, after.currency
	return m
}

// priced refuses a cost that cannot be added to what lies there.
func (w worth) priced(number string, quantity int64, cost *commonv1.Money) error {
	switch {
	case cost == nil:
		return nil
	case !w.takes(cost.GetCurrencyCode()):
		return fault.New(fault.Precondition, "COST_IN_OTHER_CURRENCY",
			"what lies there of %s is valued in %s; give the cost of these %d in it", number, w.currency, quantity).
			With("part", number).With("currency", w.currency).About("Part", partName(number))
	case cost.GetMinorUnits() > replenish.MaxValue-w.Value:
		return fault.New(fault.Precondition, "STOCK_TOO_DEAR",
			"with it %s would be worth more than can be kept; check the cost", number).
			With("part", number).About("Part", partName(number))
	}
	return nil
}

func (w worth) keep() keptWorth {
	return keptWorth{Value: w.Value, LastQuantity: w.Last.Quantity, LastValue: w.Last.Value, Currency: w.currency}
}

func (k keptWorth) worth(onHand int64) worth {
	w := worth{Worth: replenish.Worth{Quantity: onHand, Value: k.Value}, currency: k.Currency}
	w.Last.Quantity, w.Last.Value = k.LastQuantity, k.LastValue
	return w
}
