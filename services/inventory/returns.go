package inventory

import (
	"cmp"
	"fmt"
	"math/bits"
	"slices"
	"time"

	"google.golang.org/protobuf/proto"

	rest "ramprow/internal/platform/shelf"
	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// The states and kinds of returns, by shorter names.
const (
	returnExpected = inventoryv1.ReturnState_RETURN_STATE_EXPECTED
	returnSetApart = inventoryv1.ReturnState_RETURN_STATE_SET_APART
	returnSent     = inventoryv1.ReturnState_RETURN_STATE_SENT
	returnCredited = inventoryv1.ReturnState_RETURN_STATE_CREDITED
	returnReplaced = inventoryv1.ReturnState_RETURN_STATE_REPLACED
	returnRefused  = inventoryv1.ReturnState_RETURN_STATE_REFUSED
	returnKept     = inventoryv1.ReturnState_RETURN_STATE_KEPT
	returnLost     = inventoryv1.ReturnState_RETURN_STATE_LOST
	returnVoid     = inventoryv1.ReturnState_RETURN_STATE_VOID

	failedPart  = inventoryv1.ReturnKind_RETURN_KIND_FAILED
	damagedPart = inventoryv1.ReturnKind_RETURN_KIND_DAMAGED
	wrongPart   = inventoryv1.ReturnKind_RETURN_KIND_WRONG
	oldUnit     = inventoryv1.ReturnKind_RETURN_KIND_OLD_UNIT
)

// closed tells whether nothing more is to be done about a return.
func closed(r *inventoryv1.Return) bool {
	return r.GetState() != returnExpected && r.GetState() != returnSetApart && r.GetState() != returnSent
}

// openReturn begins a return; what follows from its part is filled in.
func (d *draft) openReturn(r *inventoryv1.Return) *inventoryv1.Return {
	about := d.st.parts[r.GetPart()].about
	r.Title, r.Unit, r.Supplier = about.GetTitle(), about.GetUnit(), about.GetSupplier()
	if o := d.st.orders[r.GetOrder()]; o != nil {
		r.Supplier = o.GetSupplier()
	}
	if r.GetExpected() == nil {
		r.Expected = costOf(about, r.GetQuantity())
	}
	r.OpenedAt, r.Since, r.By = d.now(), d.now(), d.in.Actor.Person
	d.number(r)
	return r
}

// number names a return that is new, and tells of it.
func (d *draft) number(r *inventoryv1.Return) {
	d.returned++
	r.Name = returnName(d.returned)
	d.opened = append(d.opened, r)
	d.last = append(d.last, &inventoryv1.ReturnOpened{Return: r})
}

// advance brings so many pieces of a return to another state; the rest stays what
// it was, and the pieces are a return of their own then.
func (d *draft) advance(r *inventoryv1.Return, quantity int64, change func(*inventoryv1.Return)) *inventoryv1.Return {
	part := proto.CloneOf(r)
	if quantity < r.GetQuantity() {
		rest := proto.CloneOf(r)
		part.Quantity, rest.Quantity = quantity, r.GetQuantity()-quantity
		part.Expected, rest.Expected = divide(r.GetExpected(), quantity, r.GetQuantity())
		part.DividedFrom = r.GetName()
		d.last = append(d.last, &inventoryv1.ReturnMoved{Return: rest})
	}
	change(part)
	part.Since, part.By = d.now(), d.in.Actor.Person
	if quantity < r.GetQuantity() {
		d.number(part)
	} else {
		d.last = append(d.last, &inventoryv1.ReturnMoved{Return: part})
	}
	return part
}

// divide gives the share of so many pieces of all in an amount, rounded down, and
// the rest, so that both sum to it.
func divide(m *commonv1.Money, some, all int64) (share, rest *commonv1.Money) {
	if m == nil {
		return nil, nil
	}
	high, low := bits.Mul64(uint64(m.GetMinorUnits()), uint64(some)) //nolint:gosec // neither is negative
	part, _ := bits.Div64(high, low, uint64(all))                    //nolint:gosec // some is less than all, so it fits
	share = &commonv1.Money{MinorUnits: int64(part), CurrencyCode: m.GetCurrencyCode()}
	return share, &commonv1.Money{MinorUnits: m.GetMinorUnits() - share.GetMinorUnits(), CurrencyCode: m.GetCurrencyCode()}
}

// expectOldUnits opens what is owed of old units for what a line has at the car:
// one that was taken away because it failed had its old unit before.
func (d *draft) expectOldUnits(job string, l *inventoryv1.HoldLine) {
	deposit := d.st.parts[l.GetPart()].about.GetDeposit()
	owed := out(l) - l.GetOldUnits()
	if deposit.GetMinorUnits() <= 0 || owed <= 0 {
		return
	}
	l.OldUnits += owed
	d.openReturn(&inventoryv1.Return{
		Kind: oldUnit, State: returnExpected, Part: l.GetPart(), Quantity: owed, Job: job, Line: l.GetLine(),
		Reason: "handed over with a deposit on the old unit", Expected: times(deposit, owed),
	})
}

// times is an amount so many times; nil if no int64 holds it.
func times(m *commonv1.Money, n int64) *commonv1.Money {
	high, low := bits.Mul64(uint64(m.GetMinorUnits()), uint64(n)) //nolint:gosec // neither is negative
	if high > 0 || low > mostMoney {
		return nil
	}
	return &commonv1.Money{MinorUnits: int64(low), CurrencyCode: m.GetCurrencyCode()}
}

// voidOldUnits ends what was expected for pieces that are not at the car any more.
func (d *draft) voidOldUnits(job string, l *inventoryv1.HoldLine) {
	surplus := l.GetOldUnits() - out(l)
	if surplus <= 0 {
		return
	}
	for _, r := range d.owedFor(job, l) {
		n := min(surplus, r.GetQuantity())
		if n == 0 {
			return
		}
		d.voided[r.GetName()] = true
		d.advance(r, n, func(r *inventoryv1.Return) {
			r.State, r.Outcome = returnVoid, "the new part is not at the car any more"
		})
		l.OldUnits -= n
		surplus -= n
	}
}

// owedFor lists the old units that are expected for a line: first those that were
// owed under its name, which a revision of the plan may have changed.
func (d *draft) owedFor(job string, l *inventoryv1.HoldLine) []*inventoryv1.Return {
	var owed []*inventoryv1.Return
	for _, r := range d.st.returnsOpen() {
		if r.GetKind() == oldUnit && r.GetState() == returnExpected && r.GetJob() == job && r.GetPart() == l.GetPart() && !d.voided[r.GetName()] {
			owed = append(owed, r)
		}
	}
	slices.SortStableFunc(owed, func(a, b *inventoryv1.Return) int {
		switch isA, isB := a.GetLine() == l.GetLine(), b.GetLine() == l.GetLine(); {
		case isA == isB:
			return 0
		case isA:
			return -1
		default:
			return 1
		}
	})
	return owed
}

// setApartGoods keeps what of a delivery goes back.
func (d *draft) setApartGoods(order string, l *inventoryv1.ReceivedLine, note string) {
	for _, back := range []struct {
		kind     inventoryv1.ReturnKind
		quantity int64
		reason   string
	}{{damagedPart, l.GetDamaged(), "came damaged"}, {wrongPart, l.GetSendBack(), "was not ordered"}} {
		if back.quantity == 0 {
			continue
		}
		if note != "" {
			back.reason += ": " + note
		}
		d.openReturn(&inventoryv1.Return{
			Kind: back.kind, State: returnSetApart, Part: l.GetPart(), Quantity: back.quantity, Order: order, Reason: back.reason,
		})
	}
}

// returnsOpen lists what is to go back, is away or is owed, the oldest first.
func (st *State) returnsOpen() []*inventoryv1.Return {
	var open []*inventoryv1.Return
	for _, r := range st.returns {
		if !closed(r) {
			open = append(open, r)
		}
	}
	slices.SortFunc(open, func(a, b *inventoryv1.Return) int {
		return compareNumbers(rest.Number(a.GetName()), rest.Number(b.GetName()))
	})
	return open
}

// mostReturns are told one by one of a part.
const mostReturns = 5

// whyOfReturns says what of a part is not on hand although it was bought.
func (st *State) whyOfReturns(number string) []string {
	var why []string
	more := 0
	for _, r := range st.returnsOpen() {
		switch {
		case r.GetPart() != number:
		case len(why) == mostReturns:
			more++
		default:
			why = append(why, returnLine(r))
		}
	}
	if more > 0 {
		why = append(why, fmt.Sprintf("and %d more returns", more))
	}
	return why
}

func returnLine(r *inventoryv1.Return) string {
	where := map[inventoryv1.ReturnState]string{
		returnExpected: "expected from the car", returnSetApart: "set apart to be sent", returnSent: "with the supplier",
	}[r.GetState()]
	line := fmt.Sprintf("not on hand: %d %s, %s since %s (%s)", r.GetQuantity(), spoken(r.GetKind().String(), "RETURN_KIND_"), where,
		r.GetSince().AsTime().Format(time.DateOnly), r.GetName())
	return line + cmp.Or(prefixed(" of ", r.GetJob()), prefixed(" of ", r.GetOrder())) + prefixed(": ", r.GetReason())
}

// prefixed is a text with something before it; nothing stays nothing.
func prefixed(before, text string) string {
	if text == "" {
		return ""
	}
	return before + text
}
