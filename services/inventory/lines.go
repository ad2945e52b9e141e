package inventory

import (
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// The states of lines and holds, by shorter names.
const (
	lineHeld     = inventoryv1.LineState_LINE_STATE_HELD
	lineShort    = inventoryv1.LineState_LINE_STATE_SHORT
	lineIssued   = inventoryv1.LineState_LINE_STATE_ISSUED
	lineReturned = inventoryv1.LineState_LINE_STATE_RETURNED
	lineReleased = inventoryv1.LineState_LINE_STATE_RELEASED
)

// out is what of a line is at the car: handed over, not brought back, and not
// taken away because it failed.
func out(l *inventoryv1.HoldLine) int64 { return l.GetIssued() - l.GetReturned() - l.GetFailed() }

// open tells whether a line still wants something from the shelf.
func open(l *inventoryv1.HoldLine) bool {
	return l.GetState() == lineHeld || l.GetState() == lineShort
}

// lacking is what an open line still misses on the shelf.
func lacking(l *inventoryv1.HoldLine) int64 {
	if !open(l) {
		return 0
	}
	return l.GetQuantity() - out(l) - l.GetHeld()
}

// place sets an open line's state from its quantities.
func place(l *inventoryv1.HoldLine) {
	switch {
	case l.GetQuantity() == out(l):
		l.State = lineIssued
	case l.GetQuantity() == out(l)+l.GetHeld():
		l.State = lineHeld
	default:
		l.State = lineShort
		return
	}
	l.Eta, l.EtaP80 = nil, nil
}

// letGo ends what a line wants. What is at the car stays to be brought back.
func letGo(l *inventoryv1.HoldLine) {
	l.Held, l.Eta, l.EtaP80 = 0, nil, nil
	if n := out(l); n > 0 {
		l.State, l.Quantity = lineIssued, n
		return
	}
	l.State = lineReleased
}

// tally is what a hold means for one part.
type tally struct {
	held   int64
	wanted int64
	dated  int   // lines with an eta
	picked int64 // of what is held, off its bin
	stray  int64 // off its bin, and not wanted
}

// tallyOf sums a hold by part. Every part that the hold names is in it.
func tallyOf(doc *inventoryv1.Hold) map[string]tally {
	tallies := make(map[string]tally, len(doc.GetLines()))
	for _, l := range doc.GetLines() {
		t := tallies[l.GetPart()]
		t.held += l.GetHeld()
		t.wanted += lacking(l)
		t.picked += l.GetPicked()
		t.stray += l.GetStray()
		if l.GetEta() != nil {
			t.dated++
		}
		tallies[l.GetPart()] = t
	}
	return tallies
}

// stateOf is the state of a hold that has not been given up.
func stateOf(doc *inventoryv1.Hold) inventoryv1.HoldState {
	var held, out bool
	for _, l := range doc.GetLines() {
		switch l.GetState() {
		case lineShort:
			return inventoryv1.HoldState_HOLD_STATE_SHORT
		case lineHeld:
			held = true
		case lineIssued, lineReturned:
			out = true
		case lineReleased, inventoryv1.LineState_LINE_STATE_UNSPECIFIED:
		}
	}
	if out && !held {
		return inventoryv1.HoldState_HOLD_STATE_SETTLED
	}
	// A job that wants nothing has everything.
	return inventoryv1.HoldState_HOLD_STATE_HELD
}

// outstanding is what an order still brings with a line.
func outstanding(o *inventoryv1.Order, l *inventoryv1.OrderLine) int64 {
	switch o.GetState() {
	case inventoryv1.OrderState_ORDER_STATE_PLACED,
		inventoryv1.OrderState_ORDER_STATE_CONFIRMED,
		inventoryv1.OrderState_ORDER_STATE_PART_RECEIVED:
		return max(0, l.GetQuantity()-l.GetReceived())
	case inventoryv1.OrderState_ORDER_STATE_UNSPECIFIED,
		inventoryv1.OrderState_ORDER_STATE_RECEIVED,
		inventoryv1.OrderState_ORDER_STATE_CANCELLED:
		return 0
	default:
		return 0
	}
}
