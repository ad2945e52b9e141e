package inventory

import (
	"fmt"
	"slices"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/engine/replenish"
	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// placeOrder keeps what was ordered. A line without a date is expected after
// the part's lead time, until the supplier confirms another day.
func placeOrder(st *State, in sitelog.Input, req *inventoryv1.PlaceOrderRequest) ([]proto.Message, *inventoryv1.PlaceOrderResponse, error) {
	bad := fault.New(fault.Invalid, "ORDER_INVALID", "the order cannot be placed like this; correct the named lines")
	o := &inventoryv1.Order{
		Name:     orderName(st.placed + 1),
		Supplier: req.GetSupplier(),
		State:    inventoryv1.OrderState_ORDER_STATE_PLACED,
		PlacedAt: timestamppb.New(in.Now),
		PlacedBy: in.Actor.Person,
	}
	for i, l := range req.GetLines() {
		p := st.parts[l.GetPart()]
		if p == nil {
			return nil, nil, noPart(l.GetPart())
		}
		pack, days := p.about.GetPack(), p.about.GetLeadTimeDays()
		line := &inventoryv1.OrderLine{Part: l.GetPart(), Quantity: l.GetQuantity(), Expected: l.GetExpected(), Cost: l.GetCost()}
		if offer := st.suppliers.offers[l.GetPart()][req.GetSupplier()]; offer != nil {
			pack, days = offer.GetPack(), offer.GetLeadTimeDays()
			if l.GetQuantity() < offer.GetMinimum() {
				bad.WithField(fmt.Sprintf("lines[%d].quantity", i), "%s sells %s from %d on", req.GetSupplier(), l.GetPart(), offer.GetMinimum())
			}
			if line.GetCost() == nil {
				line.Cost = money(priceOf(offer, l.GetQuantity()), st.suppliers.terms[req.GetSupplier()].GetCurrencyCode())
			}
		}
		if whole := replenish.InPacks(l.GetQuantity(), pack); whole != l.GetQuantity() {
			bad.WithField(fmt.Sprintf("lines[%d].quantity", i), "%s comes in packs of %d; order %d", l.GetPart(), pack, whole)
		}
		if line.GetExpected() == nil {
			line.Expected = timestamppb.New(in.Now.Add(time.Duration(days) * 24 * time.Hour))
		}
		o.Lines = append(o.Lines, line)
	}
	if len(bad.Fields) > 0 {
		return nil, nil, bad
	}
	if err := checkCosts("lines", costsOf(req.GetLines())); err != nil {
		return nil, nil, err
	}
	d := newDraft(st, in)
	d.setOrder(o, &inventoryv1.OrderPlaced{Order: o})
	return d.finish(), &inventoryv1.PlaceOrderResponse{Order: o}, nil
}

// openOrder finds an order that can still change.
func openOrder(st *State, name string) (*inventoryv1.Order, error) {
	o := st.orders[name]
	if o == nil {
		return nil, noOrder(name)
	}
	if o.GetState() == inventoryv1.OrderState_ORDER_STATE_RECEIVED || o.GetState() == inventoryv1.OrderState_ORDER_STATE_CANCELLED {
		return nil, fault.New(fault.Precondition, "ORDER_CLOSED",
			"%s is closed already; place a new order, or receive goods without an order", name).
			With("order", name).About("Order", name)
	}
	return proto.CloneOf(o), nil
}

// confirmOrder takes over what the supplier answered. The lines given replace
// those of the same part; a part that is not named stays as it was ordered.
func confirmOrder(st *State, in sitelog.Input, req *inventoryv1.ConfirmOrderRequest) ([]proto.Message, *inventoryv1.ConfirmOrderResponse, error) {
	o, err := openOrder(st, req.GetOrder())
	if err != nil {
		return nil, nil, err
	}
	received, err := confirmable(o, req)
	if err == nil {
		err = checkCosts("lines", costsOf(req.GetLines()))
	}
	if err != nil {
		return nil, nil, err
	}
	o.Lines = slices.DeleteFunc(o.GetLines(), func(l *inventoryv1.OrderLine) bool {
		_, replaced := received[l.GetPart()]
		return replaced
	})
	for _, l := range req.GetLines() {
		line := &inventoryv1.OrderLine{Part: l.GetPart(), Quantity: l.GetQuantity(), Expected: l.GetExpected(), Cost: stillCosts(st.orders[req.GetOrder()], l)}
		if line.GetExpected() == nil {
			line.Expected = dayOf(st.orders[req.GetOrder()], l.GetPart())
		}
		line.Received = min(received[l.GetPart()], l.GetQuantity())
		received[l.GetPart()] -= line.GetReceived()
		o.Lines = append(o.Lines, line)
	}
	if req.GetSupplierReference() != "" {
		o.SupplierReference = req.GetSupplierReference()
	}
	progress(o, inventoryv1.OrderState_ORDER_STATE_CONFIRMED)
	d := newDraft(st, in)
	d.setOrder(o, &inventoryv1.OrderConfirmed{Order: o})
	return d.finish(), &inventoryv1.ConfirmOrderResponse{Order: o}, nil
}

// confirmable checks a confirmation, and gives what had arrived of each part in it.
func confirmable(o *inventoryv1.Order, req *inventoryv1.ConfirmOrderRequest) (received map[string]int64, err error) {
	confirmed := map[string]int64{}
	received = map[string]int64{}
	for _, l := range req.GetLines() {
		confirmed[l.GetPart()] += l.GetQuantity()
		received[l.GetPart()] = 0
	}
	ordered := map[string]bool{}
	for _, l := range o.GetLines() {
		ordered[l.GetPart()] = true
		if _, named := received[l.GetPart()]; named {
			received[l.GetPart()] += l.GetReceived()
		}
	}
	bad := fault.New(fault.Invalid, "CONFIRMATION_INVALID", "the confirmation does not fit %s; correct the named lines", o.GetName())
	for i, l := range req.GetLines() {
		path := fmt.Sprintf("lines[%d]", i)
		if !ordered[l.GetPart()] {
			bad.WithField(path+".part", "%s is not on the order; place another order for it", l.GetPart())
		} else if confirmed[l.GetPart()] < received[l.GetPart()] {
			bad.WithField(path+".quantity", "%d of %s have arrived already, more than the %d confirmed", received[l.GetPart()], l.GetPart(), confirmed[l.GetPart()])
		}
	}
	if len(bad.Fields) > 0 {
		return nil, bad
	}
	return received, nil
}

// dayOf is the last day on which an order was to bring a part.
func dayOf(o *inventoryv1.Order, number string) *timestamppb.Timestamp {
	var day *timestamppb.Timestamp
	for _, l := range o.GetLines() {
		if l.GetPart() == number && (day == nil || l.GetExpected().AsTime().After(day.AsTime())) {
			day = l.GetExpected()
		}
	}
	return day
}

// progress sets an order's state from what has arrived; otherwise is its state
// while nothing has.
func progress(o *inventoryv1.Order, otherwise inventoryv1.OrderState) {
	some, all := false, true
	for _, l := range o.GetLines() {
		some = some || l.GetReceived() > 0
		all = all && l.GetReceived() >= l.GetQuantity()
	}
	switch {
	case all:
		o.State = inventoryv1.OrderState_ORDER_STATE_RECEIVED
	case some:
		o.State = inventoryv1.OrderState_ORDER_STATE_PART_RECEIVED
	default:
		o.State = otherwise
	}
}

// receiveOrder counts a delivery on its order. More than ordered is taken, since
// it is there; a part that was not ordered is refused.
func (d *draft) receiveOrder(req *inventoryv1.ReceiveGoodsRequest) error {
	o, err := openOrder(d.st, req.GetOrder())
	if err != nil {
		return err
	}
	event := &inventoryv1.GoodsReceived{Order: o.GetName(), After: o}
	for i, l := range req.GetLines() {
		ours := l.GetQuantity() - l.GetSendBack()
		if ours == 0 {
			continue
		}
		if !arrive(o, l.GetPart(), ours) {
			return fault.New(fault.Precondition, "PART_NOT_ON_ORDER",
				"%s is not on %s: send it back, or receive it without an order", l.GetPart(), o.GetName()).
				With("part", l.GetPart()).With("order", o.GetName()).WithField(fmt.Sprintf("lines[%d].part", i), "not on the order")
		}
		// In the event, quantity is what came for the order and received what was fit for the shelf.
		event.Lines = append(event.Lines, &inventoryv1.OrderLine{
			Part: l.GetPart(), Quantity: ours, Received: ours - l.GetDamaged(),
		})
	}
	progress(o, o.GetState())
	d.setOrder(o, event)
	return nil
}

// arrive fills the order's lines of a part, the earliest expected first; what is
// over goes to the last of them. False: the order has no such line.
func arrive(o *inventoryv1.Order, number string, quantity int64) bool {
	var lines []*inventoryv1.OrderLine
	for _, l := range o.GetLines() {
		if l.GetPart() == number {
			lines = append(lines, l)
		}
	}
	if len(lines) == 0 {
		return false
	}
	slices.SortStableFunc(lines, func(a, b *inventoryv1.OrderLine) int {
		return a.GetExpected().AsTime().Compare(b.GetExpected().AsTime())
	})
	for _, l := range lines {
		n := min(quantity, max(0, l.GetQuantity()-l.GetReceived()))
		l.Received += n
		quantity -= n
	}
	lines[len(lines)-1].Received += quantity
	return true
}

// cancelOrder gives up what has not arrived.
func cancelOrder(st *State, in sitelog.Input, req *inventoryv1.CancelOrderRequest) ([]proto.Message, *inventoryv1.CancelOrderResponse, error) {
	o, err := openOrder(st, req.GetOrder())
	if err != nil {
		return nil, nil, err
	}
	o.State = inventoryv1.OrderState_ORDER_STATE_CANCELLED
	d := newDraft(st, in)
	d.setOrder(o, &inventoryv1.OrderCancelled{Order: o.GetName(), Reason: req.GetReason()})
	return d.finish(), &inventoryv1.CancelOrderResponse{Order: o}, nil
}
