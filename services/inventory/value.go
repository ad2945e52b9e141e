package inventory

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/engine/replenish"
	moneytext "ramprow/internal/money"
	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// valuation is the worth of every part as of a time. It begins with what is there
// now and takes movements back, the newest first, until one is not after that
// time: the log's order counts, should a clock have gone back. So it needs the
// movements since then and memory for the parts, however long the history is.
type valuation struct {
	at    time.Time
	parts map[string]lying
	// next is the newest movement that was not looked at yet.
	next  uint64
	since int // movements taken back
	done  bool
}

// lying is what lies there of a part.
type lying struct {
	about    *inventoryv1.Part
	quantity int64
	value    int64
	currency string
	// unvalued: a movement that was taken back does not say what it was worth.
	unvalued bool
}

// unvaluedWhy is why a value is not known though the part has one today.
const unvaluedWhy = "movements of that time carry no value: no cost was known yet, or they left for the archive before values were kept"

func (st *State) valuation(at time.Time) *valuation {
	v := &valuation{at: at, parts: make(map[string]lying, len(st.parts)), next: st.moved}
	for number, p := range st.parts {
		v.parts[number] = lying{about: p.about, quantity: p.onHand, value: p.worth.Value, currency: p.worth.currency}
	}
	return v
}

// page gives the movements that come next, the newest first; or the error that
// brings them back from the archive.
func (v *valuation) page(st *State) ([]*inventoryv1.Movement, error) { return st.movementsBack(v.next) }

func (v *valuation) over() bool { return v.done }

// movementsBack gives the movements of one page up to a number, the newest first;
// or the error that brings them back from the archive.
func (st *State) movementsBack(next uint64) ([]*inventoryv1.Movement, error) {
	if next == 0 {
		return nil, nil
	}
	page := pageOf(next)
	if f := st.archived(pageName(page)); f != nil {
		return nil, f
	}
	var all []*inventoryv1.Movement
	for n := next; n > (page-1)*pageSize; n-- {
		all = append(all, st.movements[n])
	}
	return all, nil
}

// takeBack undoes movements that came after the time.
func (v *valuation) takeBack(movements []*inventoryv1.Movement) {
	for _, m := range movements {
		if !m.GetAt().AsTime().After(v.at) {
			v.done = true
			return
		}
		v.parts[m.GetPart()] = v.parts[m.GetPart()].before(m)
		v.next--
		v.since++
	}
	v.done = v.next == 0
}

// before is what lay there before a movement. The value that it left is taken from
// the movement itself: one after it may have said nothing of values.
func (l lying) before(m *inventoryv1.Movement) lying {
	l.quantity -= m.GetQuantity()
	switch {
	case m.GetCurrencyCode() != "":
		l.value, l.currency, l.unvalued = m.GetValueAfterMinorUnits()-m.GetValueMinorUnits(), m.GetCurrencyCode(), false
	case l.currency != "":
		l.value, l.currency, l.unvalued = 0, "", true
	}
	return l
}

// report is the answer to be: all parts of which something lay there.
func (v *valuation) report() *inventoryv1.GetStockValueResponse {
	r := &inventoryv1.GetStockValueResponse{At: timestamppb.New(v.at)}
	totals := map[string]int64{}
	unvalued := 0
	for _, number := range slices.Sorted(maps.Keys(v.parts)) {
		l := v.parts[number]
		if l.quantity == 0 && l.value == 0 {
			continue
		}
		r.PartsThere++
		if l.currency == "" {
			r.PartsWithoutCost++
			if l.unvalued {
				unvalued++
			}
		} else {
			totals[l.currency] = min(totals[l.currency]+l.value, replenish.MaxValue)
		}
		r.Parts = append(r.Parts, l.shown())
	}
	for _, currency := range slices.Sorted(maps.Keys(totals)) {
		r.Totals = append(r.Totals, &commonv1.Money{MinorUnits: totals[currency], CurrencyCode: currency})
	}
	r.Why = []string{fmt.Sprintf("%d parts lay there; %d movements since then were taken back from what is there now", r.GetPartsThere(), v.since)}
	if unvalued > 0 {
		r.Why = append(r.Why, fmt.Sprintf("what %d of them were worth then is not known, so they count as nothing and the total is too low: %s", unvalued, unvaluedWhy))
	}
	if n := int(r.GetPartsWithoutCost()) - unvalued; n > 0 {
		r.Why = append(r.Why, fmt.Sprintf("no cost was ever known of %d of them, so they count as nothing: set their cost, or correct it", n))
	}
	return r
}

func (l lying) shown() *inventoryv1.StockValue {
	v := &inventoryv1.StockValue{Part: l.about.GetNumber(), Title: l.about.GetTitle(), Quantity: l.quantity, Unit: l.about.GetUnit()}
	if l.currency != "" {
		v.Value = &commonv1.Money{MinorUnits: l.value, CurrencyCode: l.currency}
		v.Average = averageText(l.value, l.quantity, l.currency)
	}
	return v
}

// averageDigits is how many digits more than the smallest coin an average shows.
const averageDigits = 4

func averageText(value, quantity int64, currency string) string {
	if quantity <= 0 || value < 0 {
		return ""
	}
	return moneytext.Format(replenish.ShareOf(value, 10_000, quantity), moneytext.Digits(currency)+averageDigits) + " " + currency
}

// cut keeps one page, those after a number.
func cut(r *inventoryv1.GetStockValueResponse, after string, size int) {
	from, found := slices.BinarySearchFunc(r.GetParts(), after, func(v *inventoryv1.StockValue, number string) int {
		return strings.Compare(v.GetPart(), number)
	})
	if found {
		from++
	}
	r.Parts = r.GetParts()[from:]
	if len(r.GetParts()) > size {
		r.Parts = r.GetParts()[:size]
		r.NextPageToken = r.GetParts()[size-1].GetPart()
	}
}

// movementLine tells what a movement did to a part's value.
func movementLine(m *inventoryv1.Movement) string {
	line := fmt.Sprintf("%s: %+d %s", m.GetAt().AsTime().Format(time.DateTime), m.GetQuantity(), kindWord(m.GetKind()))
	if m.GetReference() != "" {
		line += " " + m.GetReference()
	}
	if m.GetCurrencyCode() == "" {
		return fmt.Sprintf("%s, %d there; no cost was known", line, m.GetOnHandAfter())
	}
	digits := moneytext.Digits(m.GetCurrencyCode())
	return fmt.Sprintf("%s for %s, %d there worth %s %s", line, moneytext.Format(m.GetValueMinorUnits(), digits),
		m.GetOnHandAfter(), moneytext.Format(m.GetValueAfterMinorUnits(), digits), m.GetCurrencyCode())
}

func kindWord(kind inventoryv1.MovementKind) string {
	return spoken(kind.String(), "MOVEMENT_KIND_")
}

// valueLine tells how the value of what is there came about, kind by kind.
func valueLine(r *inventoryv1.ExplainPartResponse) string {
	value := r.GetPart().GetValue()
	digits := moneytext.Digits(value.GetCurrencyCode())
	var terms []string
	sum := int64(0)
	for _, s := range r.GetMovements() {
		if s.GetValueMinorUnits() != 0 {
			terms = append(terms, moneytext.Format(s.GetValueMinorUnits(), digits)+" "+kindWord(s.GetKind()))
			sum += s.GetValueMinorUnits()
		}
	}
	line := fmt.Sprintf("%s %s worth", moneytext.Format(value.GetMinorUnits(), digits), value.GetCurrencyCode())
	if average := averageText(value.GetMinorUnits(), r.GetPart().GetOnHand(), value.GetCurrencyCode()); average != "" {
		line += ", on average " + average
	}
	// Movements before the first known cost, or in another currency, are in no sum.
	if sum == value.GetMinorUnits() && len(terms) > 0 {
		line += ": " + strings.Join(terms, ", ")
	}
	return line
}
