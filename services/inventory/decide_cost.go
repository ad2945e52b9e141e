package inventory

import (
	"fmt"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/engine/replenish"
	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// correctCost spreads the difference of a bill over the pieces that it is for.
// Those that went are taken to be of it: what is there of a part carries no more
// of a difference than its share. Common practice, no source.
func correctCost(st *State, in sitelog.Input, req *inventoryv1.CorrectCostRequest) ([]proto.Message, *inventoryv1.CorrectCostResponse, error) {
	number, difference := req.GetPart(), req.GetDifference()
	p := st.parts[number]
	if p == nil {
		return nil, nil, noPart(number)
	}
	if err := checkDifference(p, req); err != nil {
		return nil, nil, err
	}
	there := min(p.onHand, req.GetQuantity())
	by := replenish.ShareOf(max(difference.GetMinorUnits(), -difference.GetMinorUnits()), there, req.GetQuantity())
	if difference.GetMinorUnits() < 0 {
		by = -by
	}
	if p.worth.Value+by < 0 {
		return nil, nil, fault.New(fault.Precondition, "VALUE_BELOW_NOTHING",
			"the %d of %s that are there are worth %d minor units, less than the %d to be taken off; check the amount",
			p.onHand, number, p.worth.Value, -by).
			With("part", number).About("Part", partName(number))
	}
	d := newDraft(st, in)
	if by != 0 {
		d.revalue(number, by, difference.GetCurrencyCode(), req.GetReason())
	}
	resp := &inventoryv1.CorrectCostResponse{
		OnShelf: money(by, difference.GetCurrencyCode()),
		Gone:    money(difference.GetMinorUnits()-by, difference.GetCurrencyCode()),
	}
	events := d.finish()
	resp.Part = d.part(number)
	return events, resp, nil
}

func checkDifference(p *part, req *inventoryv1.CorrectCostRequest) error {
	difference := req.GetDifference()
	units := difference.GetMinorUnits()
	if !isCurrency(difference.GetCurrencyCode()) || units == 0 || units > maxMoney || units < -maxMoney {
		return fault.New(fault.Invalid, "DIFFERENCE_INVALID", "the difference must be an amount of a currency, and not nothing").
			WithField("difference", "must lie between -%d and %d minor units without 0, in a currency of three letters", int64(maxMoney), int64(maxMoney))
	}
	return p.worth.priced(req.GetPart(), req.GetQuantity(), &commonv1.Money{MinorUnits: max(0, units), CurrencyCode: difference.GetCurrencyCode()})
}

func isCurrency(code string) bool {
	for _, letter := range code {
		if letter < 'A' || letter > 'Z' {
			return false
		}
	}
	return len(code) == 3
}

// revalue changes what lies there of a part is worth, and nothing else.
func (d *draft) revalue(number string, by int64, currency, why string) {
	s := d.stock(number)
	s.worth.Worth = s.worth.Correct(by)
	s.worth.currency = currency
	d.moved++
	d.first = append(d.first, &inventoryv1.StockMoved{Movement: &inventoryv1.Movement{
		Number: d.moved, Part: number, Kind: inventoryv1.MovementKind_MOVEMENT_KIND_REVALUED, OnHandAfter: s.onHand,
		Reference: "bill", Note: why, At: d.now(), By: d.in.Actor.Person,
		ValueMinorUnits: by, ValueAfterMinorUnits: s.worth.Value, CurrencyCode: currency,
	}})
}

// paidFor gives what the good pieces of a delivery cost together: as was said with
// them, else their part of what the order says. nil: neither says anything.
// Parts of a line are cut so that all of them come to the line's cost exactly.
func paidFor(o *inventoryv1.Order, l *inventoryv1.ReceivedLine) *commonv1.Money {
	if l.GetCost() != nil {
		return l.GetCost()
	}
	t, known := termsOf(o, l.GetPart())
	if !known {
		return nil
	}
	good := l.GetQuantity() - l.GetDamaged() - l.GetSendBack()
	return money(replenish.ShareOf(t.cost, t.received+good, t.quantity)-replenish.ShareOf(t.cost, t.received, t.quantity), t.currency)
}

// ordering is what all lines of an order say of a part.
type ordering struct {
	cost, quantity, received int64
	currency                 string
}

// termsOf sums the lines of a part; false: not all of them tell a cost in one currency.
func termsOf(o *inventoryv1.Order, number string) (ordering, bool) {
	var t ordering
	for _, line := range o.GetLines() {
		if line.GetPart() != number {
			continue
		}
		c := line.GetCost()
		if c == nil || t.currency != "" && c.GetCurrencyCode() != t.currency || c.GetMinorUnits() > replenish.MaxValue-t.cost {
			return t, false
		}
		t.currency = c.GetCurrencyCode()
		t.cost, t.quantity, t.received = t.cost+c.GetMinorUnits(), t.quantity+line.GetQuantity(), t.received+line.GetReceived()
	}
	return t, t.currency != ""
}

// stillCosts is what a confirmed quantity costs if the supplier says nothing of
// it: as much for each as was ordered. nil: nothing was said then.
func stillCosts(o *inventoryv1.Order, l *inventoryv1.OrderLine) *commonv1.Money {
	t, known := termsOf(o, l.GetPart())
	if l.GetCost() != nil || !known {
		return l.GetCost()
	}
	return money(replenish.ShareOf(t.cost, l.GetQuantity(), t.quantity), t.currency)
}

// checkCosts refuses costs that are no amounts.
func checkCosts(what string, costs []*commonv1.Money) error {
	bad := fault.New(fault.Invalid, "COST_INVALID", "a cost must be an amount of a currency; correct the named lines")
	for i, c := range costs {
		if c != nil && (c.GetMinorUnits() < 0 || c.GetMinorUnits() > maxMoney*maxQuantity || !isCurrency(c.GetCurrencyCode())) {
			bad.WithField(fmt.Sprintf("%s[%d].cost", what, i), "must not lie below 0, in a currency of three letters")
		}
	}
	if len(bad.Fields) > 0 {
		return bad
	}
	return nil
}

// costsOf lists what some lines say of their cost.
func costsOf[L interface{ GetCost() *commonv1.Money }](lines []L) []*commonv1.Money {
	costs := make([]*commonv1.Money, len(lines))
	for i, l := range lines {
		costs[i] = l.GetCost()
	}
	return costs
}

// paid gives what each line of a receipt cost, before its order counts it. Two
// lines of one part on one order are taken one after the other.
func (st *State) paid(req *inventoryv1.ReceiveGoodsRequest) []*commonv1.Money {
	o := proto.CloneOf(st.orders[req.GetOrder()])
	costs := make([]*commonv1.Money, 0, len(req.GetLines()))
	for _, l := range req.GetLines() {
		costs = append(costs, paidFor(o, l))
		arrive(o, l.GetPart(), l.GetQuantity()-l.GetSendBack())
	}
	return costs
}
