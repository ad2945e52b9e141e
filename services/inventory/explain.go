package inventory

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	rest "ramprow/internal/platform/shelf"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// explain says why a part's figures are what they are.
func (st *State) explain(number string) (*inventoryv1.ExplainPartResponse, error) {
	p := st.parts[number]
	if p == nil {
		return nil, noPart(number)
	}
	r := &inventoryv1.ExplainPartResponse{Part: p.shown()}
	for _, kind := range slices.Sorted(maps.Keys(p.moves)) {
		s := p.moves[kind]
		r.Movements = append(r.Movements, &inventoryv1.MovementSum{Kind: kind, Quantity: s.quantity, Movements: s.movements, ValueMinorUnits: s.value})
	}
	for _, job := range p.servedByJob() {
		r.Jobs = append(r.Jobs, st.share(job, number))
	}
	for _, c := range p.waiting.items {
		r.Jobs = append(r.Jobs, st.share(c.job, number))
	}
	for name := range p.orders {
		o := st.orders[name]
		for _, l := range o.GetLines() {
			if n := outstanding(o, l); n > 0 && l.GetPart() == number {
				r.Coming = append(r.Coming, &inventoryv1.ComingOrder{Order: name, Supplier: o.GetSupplier(), Quantity: n, Expected: l.GetExpected()})
			}
		}
	}
	slices.SortFunc(r.GetComing(), func(a, b *inventoryv1.ComingOrder) int {
		return cmp.Or(a.GetExpected().AsTime().Compare(b.GetExpected().AsTime()), compareNumbers(rest.Number(a.GetOrder()), rest.Number(b.GetOrder())))
	})
	r.Why = slices.Concat(inWords(r), p.whyOfShelf(), st.whyOfReturns(number))
	return r, nil
}

// share is what a job has of a part and still wants.
func (st *State) share(job, number string) *inventoryv1.HoldingJob {
	h := st.holds[job]
	t := tallyOf(h.doc)[number]
	s := &inventoryv1.HoldingJob{Job: job, Held: t.held, Missing: t.wanted, Priority: h.doc.GetPriority(), Since: timestamppb.New(h.since)}
	for _, l := range h.doc.GetLines() {
		if l.GetPart() == number && l.GetEta() != nil && (s.GetEta() == nil || l.GetEta().AsTime().After(s.GetEta().AsTime())) {
			s.Eta = l.GetEta()
		}
	}
	return s
}

func inWords(r *inventoryv1.ExplainPartResponse) []string {
	p := r.GetPart()
	var terms, holders, waiters, coming []string
	for _, s := range r.GetMovements() {
		terms = append(terms, fmt.Sprintf("%+d %s", s.GetQuantity(), kindWord(s.GetKind())))
	}
	for _, j := range r.GetJobs() {
		if j.GetHeld() > 0 {
			holders = append(holders, fmt.Sprintf("%d for %s", j.GetHeld(), j.GetJob()))
		}
		if j.GetMissing() > 0 {
			when := "nobody has ordered them"
			if j.GetEta() != nil {
				when = "expected on " + j.GetEta().AsTime().Format(time.DateOnly)
			}
			waiters = append(waiters, fmt.Sprintf("%d for %s (%s)", j.GetMissing(), j.GetJob(), when))
		}
	}
	for _, c := range r.GetComing() {
		coming = append(coming, fmt.Sprintf("%d with %s from %s on %s", c.GetQuantity(), c.GetOrder(), c.GetSupplier(), c.GetExpected().AsTime().Format(time.DateOnly)))
	}
	why := []string{
		figureLine(p.GetOnHand(), "on hand", terms, "nothing has moved yet"),
		figureLine(p.GetHeld(), "held", holders, "no job holds any"),
		figureLine(p.GetWanted(), "wanted", waiters, "no job waits"),
		figureLine(p.GetOnOrder(), "on order", coming, "no open order brings any"),
	}
	if p.GetValue() != nil {
		why = append(why, valueLine(r))
	}
	return why
}

func figureLine(n int64, what string, terms []string, none string) string {
	if len(terms) == 0 {
		return fmt.Sprintf("%d %s: %s", n, what, none)
	}
	return fmt.Sprintf("%d %s: %s", n, what, strings.Join(terms, ", "))
}
