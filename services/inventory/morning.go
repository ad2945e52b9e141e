package inventory

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/engine/replenish"
	rest "ramprow/internal/platform/shelf"
	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// Stock is idle if it outlasts a year at the rate at which it was taken. Common
// practice, no source.
const idleWeeks = 52

// mostIdle bounds that list: what is worth most is what one acts upon.
const mostIdle = 20

// mostMoney bounds a sum of costs, far within an int64.
const mostMoney = 1_000_000_000_000_000_000

// morning is the clerk's list up to the end of a day, but for the orders, which
// are computed apart from the state.
func (st *State) morning(now, until time.Time) *inventoryv1.GetMorningResponse {
	return &inventoryv1.GetMorningResponse{
		Deliveries: st.dueDeliveries(now, until),
		Picks:      st.picks(until),
		PutBack:    st.putBack(),
		Counts:     st.questionsOpen(),
		Returns:    st.returnsOpen(),
	}
}

// dueDeliveries lists what should arrive until then and what should have arrived
// already, the earliest first, with whom it serves.
func (st *State) dueDeliveries(now, until time.Time) []*inventoryv1.DueDelivery {
	var due []*inventoryv1.DueDelivery
	for _, o := range st.orders {
		for _, l := range o.GetLines() {
			n := outstanding(o, l)
			if n == 0 || l.GetExpected().AsTime().After(until) {
				continue
			}
			due = append(due, &inventoryv1.DueDelivery{
				Order: o.GetName(), Supplier: o.GetSupplier(), Part: l.GetPart(), Title: st.parts[l.GetPart()].about.GetTitle(),
				Quantity: n, Expected: l.GetExpected(), Overdue: l.GetExpected().AsTime().Before(now),
			})
		}
	}
	slices.SortFunc(due, func(a, b *inventoryv1.DueDelivery) int {
		return cmp.Or(a.GetExpected().AsTime().Compare(b.GetExpected().AsTime()),
			compareNumbers(rest.Number(a.GetOrder()), rest.Number(b.GetOrder())), cmp.Compare(a.GetPart(), b.GetPart()))
	})
	st.serveOnPaper(due)
	return due
}

// serveOnPaper hands out due deliveries to those who wait, as the shelf will do
// it, and tells which jobs then lack nothing more.
func (st *State) serveOnPaper(due []*inventoryv1.DueDelivery) {
	lacks := map[string]int64{} // by job
	got := map[[2]string]int64{}
	for _, d := range due {
		left := d.GetQuantity()
		for _, c := range st.parts[d.GetPart()].waiting.items {
			if left == 0 {
				break
			}
			key := [2]string{c.job, d.GetPart()}
			wanted := tallyOf(st.holds[c.job].doc)[d.GetPart()].wanted - got[key]
			if taken := min(left, wanted); taken > 0 {
				got[key] += taken
				left -= taken
				d.ServesJobs = append(d.ServesJobs, c.job)
			}
		}
	}
	for key, n := range got {
		if _, counted := lacks[key[0]]; !counted {
			for _, t := range tallyOf(st.holds[key[0]].doc) {
				lacks[key[0]] += t.wanted
			}
		}
		lacks[key[0]] -= n
	}
	for _, d := range due {
		for _, job := range d.GetServesJobs() {
			if lacks[job] == 0 {
				d.FreesJobs = append(d.FreesJobs, job)
			}
		}
	}
}

// picks lists the kits of the jobs whose turn comes until then, in that order. A
// turn that is over counts as long as its parts were not fetched.
func (st *State) picks(until time.Time) []*inventoryv1.Pick {
	var picks []*inventoryv1.Pick
	for _, h := range st.holds {
		if h.doc.GetTurn() == nil || h.doc.GetTurn().AsTime().After(until) {
			continue
		}
		p := pickOf(h.doc)
		if len(p.GetLines())+len(p.GetMissing()) == 0 {
			continue
		}
		picks = append(picks, p)
	}
	slices.SortFunc(picks, func(a, b *inventoryv1.Pick) int {
		return cmp.Or(a.GetTurn().AsTime().Compare(b.GetTurn().AsTime()), compareJobs(a.GetJob(), b.GetJob()))
	})
	return picks
}

// putBack lists what lies at a car whose hold was given up, and what was picked
// and is not wanted any more, job by job. What an invoice has charged stays in the
// car.
func (st *State) putBack() []*inventoryv1.PutBack {
	var back []*inventoryv1.PutBack
	for _, job := range slices.SortedFunc(maps.Keys(st.holds), compareJobs) {
		h := st.holds[job]
		back = append(back, straying(h.doc)...)
		if !ended(h.doc) {
			continue
		}
		for _, l := range h.doc.GetLines() {
			if n := out(l); n > 0 {
				back = append(back, &inventoryv1.PutBack{
					Job: job, Line: l.GetLine(), Part: l.GetPart(), Title: l.GetTitle(), Quantity: n, Bin: l.GetBin(),
					Reason: "handed over, and the job has given up its parts",
				})
			}
		}
	}
	return back
}

// idle lists what lies there for nothing, the most valuable first.
func idle(questions []question) ([]*inventoryv1.IdleStock, error) {
	var all []*inventoryv1.IdleStock
	for _, q := range questions {
		taken := 0.0
		for _, n := range q.rules.History {
			taken += n
		}
		d, err := replenish.DeadStock(replenish.Lying{
			OnHand: q.stock.OnHand, Held: q.stock.Held, Taken: taken, Periods: float64(len(q.rules.History)),
		}, idleWeeks)
		if err != nil {
			return nil, fmt.Errorf("look at %s: %w", q.about.GetNumber(), err)
		}
		if d.Quantity > 0 {
			all = append(all, &inventoryv1.IdleStock{
				Part: q.about.GetNumber(), Title: q.about.GetTitle(), Quantity: d.Quantity, Value: q.valueOf(d.Quantity),
				Bin: q.about.GetBin(), Reason: strings.ReplaceAll(d.Reason, "period", "week"),
			})
		}
	}
	slices.SortFunc(all, func(a, b *inventoryv1.IdleStock) int {
		return cmp.Or(cmp.Compare(b.GetValue().GetMinorUnits(), a.GetValue().GetMinorUnits()), cmp.Compare(a.GetPart(), b.GetPart()))
	})
	return all[:min(len(all), mostIdle)], nil
}

// bySupplier puts proposals together that go to one supplier.
func bySupplier(proposals []*inventoryv1.Proposal) []*inventoryv1.SupplierOrder {
	orders := map[string]*inventoryv1.SupplierOrder{}
	for _, p := range proposals {
		o := orders[p.GetSupplier()]
		if o == nil {
			o = &inventoryv1.SupplierOrder{Supplier: p.GetSupplier()}
			orders[p.GetSupplier()] = o
		}
		o.Lines = append(o.Lines, p)
	}
	all := make([]*inventoryv1.SupplierOrder, 0, len(orders))
	for _, name := range slices.Sorted(maps.Keys(orders)) {
		orders[name].Cost = sumOf(orders[name].GetLines())
		all = append(all, orders[name])
	}
	return all
}

// sumOf adds what is known of the costs; nil if they cannot be added.
func sumOf(lines []*inventoryv1.Proposal) *commonv1.Money {
	var sum *commonv1.Money
	for _, l := range lines {
		c := l.GetCost()
		switch {
		case c == nil:
		case sum == nil:
			sum = proto.CloneOf(c)
		case sum.GetCurrencyCode() != c.GetCurrencyCode() || sum.GetMinorUnits() > mostMoney-c.GetMinorUnits():
			return nil
		default:
			sum.MinorUnits += c.GetMinorUnits()
		}
	}
	return sum
}
