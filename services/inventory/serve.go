package inventory

import (
	"iter"
	"slices"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	rest "ramprow/internal/platform/shelf"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// HoldLife is how long an unused hold lasts: from the moment at which it was
// made, revised or complete, or from the day on which the last missing part is
// expected, whichever is later. A booking extends it to as long after its start.
const HoldLife = 14 * 24 * time.Hour

// lateGrace is how soon an overdue delivery is expected, and one of a part of
// unknown lead time: nobody knows, but not before tomorrow.
const lateGrace = 24 * time.Hour

// queue gives the jobs that wait for a part, first come first. It is lazy, since
// most decisions look at the head of a long queue only. While it runs, only jobs
// that it has given may be changed.
func (d *draft) queue(number string) iter.Seq[claim] {
	var changed []claim
	for job, doc := range d.holds {
		if tallyOf(doc)[number].wanted > 0 {
			changed = append(changed, d.claims[job])
		}
	}
	slices.SortFunc(changed, compareClaims)
	return func(yield func(claim) bool) {
		for _, c := range d.st.parts[number].waiting.items {
			if d.holds[c.job] != nil {
				continue
			}
			for len(changed) > 0 && compareClaims(changed[0], c) < 0 {
				if !yield(changed[0]) {
					return
				}
				changed = changed[1:]
			}
			if !yield(c) {
				return
			}
		}
		for _, c := range changed {
			if !yield(c) {
				return
			}
		}
	}
}

// serve gives what is free of a part to those who wait for it.
func (d *draft) serve(number string) {
	s := d.stock(number)
	if s.onHand == s.held {
		return
	}
	for c := range d.queue(number) {
		for _, l := range d.hold(c.job).GetLines() {
			if l.GetPart() != number || lacking(l) == 0 {
				continue
			}
			d.take(l, min(lacking(l), s.onHand-s.held))
			place(l)
		}
		if s.onHand == s.held {
			return
		}
	}
}

// coming is what an open order still brings of a part.
type coming struct {
	order    uint64
	supplier string
	quantity int64
	at       time.Time
}

// deliveries lists what is on order of a part, the earliest first.
func (d *draft) deliveries(number string) []coming {
	var all []coming
	add := func(o *inventoryv1.Order) {
		for _, l := range o.GetLines() {
			if n := outstanding(o, l); n > 0 && l.GetPart() == number && l.GetExpected() != nil {
				all = append(all, coming{rest.Number(o.GetName()), o.GetSupplier(), n, l.GetExpected().AsTime()})
			}
		}
	}
	for name := range d.st.parts[number].orders {
		if d.orders[name] == nil {
			add(d.st.orders[name])
		}
	}
	for _, o := range d.orders {
		add(o)
	}
	slices.SortFunc(all, func(a, b coming) int {
		if !a.at.Equal(b.at) {
			return a.at.Compare(b.at)
		}
		return compareNumbers(a.order, b.order)
	})
	return all
}

// date tells each waiting line the day of the delivery that completes it. Each
// piece on order is promised once, in the order of the queue. It ends where
// nothing more arrives and nobody further back has a date to lose.
func (d *draft) date(number string) {
	deliveries, dated := d.deliveries(number), d.dated(number)
	for c := range d.queue(number) {
		if len(deliveries) == 0 && dated == 0 {
			return
		}
		for i, l := range d.look(c.job).GetLines() {
			if l.GetPart() != number || lacking(l) == 0 {
				continue
			}
			if l.GetEta() != nil {
				dated--
			}
			var p promised
			p, deliveries = d.promise(deliveries, lacking(l), l.GetEta())
			if !proto.Equal(p.eta, l.GetEta()) || !proto.Equal(p.likely, l.GetEtaP80()) {
				own := d.hold(c.job).GetLines()[i]
				own.Eta, own.EtaP80 = p.eta, p.likely
			}
		}
	}
}

// dated counts the lines that have a date for a part.
func (d *draft) dated(number string) int {
	n := d.st.parts[number].dated
	for job, doc := range d.holds {
		n += tallyOf(doc)[number].dated
		if h := d.st.holds[job]; h != nil {
			n -= tallyOf(h.doc)[number].dated
		}
	}
	return n
}

// promise takes a quantity from the deliveries and tells when the last of it
// arrives; nil if it is not all on order. What was told already about a late
// delivery stands as long as it lies ahead.
func (d *draft) promise(deliveries []coming, quantity int64, told *timestamppb.Timestamp) (p promised, left []coming) {
	var from []coming
	for len(deliveries) > 0 {
		next := &deliveries[0]
		taken := min(quantity, next.quantity)
		quantity -= taken
		next.quantity -= taken
		at := next.at
		from = append(from, coming{supplier: next.supplier, quantity: taken, at: at})
		if next.quantity == 0 {
			deliveries = deliveries[1:]
		}
		if quantity > 0 {
			continue
		}
		switch {
		case at.After(d.in.Now):
			p.eta = timestamppb.New(at)
		case told != nil && told.AsTime().After(d.in.Now):
			p.eta = told
		default:
			p.eta = timestamppb.New(d.in.Now.Add(lateGrace))
		}
		p.likely = d.likely(from, p.eta)
		return p, deliveries
	}
	return promised{}, nil
}

// close sets what follows for the hold as a whole from its lines.
func (d *draft) close(doc *inventoryv1.Hold) {
	doc.UpdatedAt = d.now()
	straighten(doc)
	was := inventoryv1.HoldState_HOLD_STATE_UNSPECIFIED
	if h := d.st.holds[doc.GetJob()]; h != nil {
		was = h.doc.GetState()
	}
	if !ended(doc) && doc.GetState() != inventoryv1.HoldState_HOLD_STATE_SETTLED {
		doc.State = stateOf(doc)
	}
	d.expect(doc)
	complete := doc.GetState() == inventoryv1.HoldState_HOLD_STATE_HELD && was == inventoryv1.HoldState_HOLD_STATE_SHORT
	if complete {
		d.served = append(d.served, doc.GetJob())
	}
	d.limit(doc, complete)
}

// expect sets when the last missing line is expected. For what nobody has
// ordered that is the lead time from now on.
func (d *draft) expect(doc *inventoryv1.Hold) {
	doc.Eta, doc.EtaP80, doc.EtaOrdered = nil, nil, false
	if doc.GetState() != inventoryv1.HoldState_HOLD_STATE_SHORT {
		return
	}
	doc.EtaOrdered = true
	var latest time.Time
	for _, l := range doc.GetLines() {
		if lacking(l) == 0 {
			continue
		}
		at := d.leadEnd(l.GetPart())
		likely := l.GetEtaP80()
		if l.GetEta() != nil {
			at = l.GetEta().AsTime()
		} else {
			doc.EtaOrdered = false
			likely = d.likelyLeadEnd(l.GetPart())
		}
		if likely != nil && (doc.GetEtaP80() == nil || likely.AsTime().After(doc.GetEtaP80().AsTime())) {
			doc.EtaP80 = likely
		}
		if at.After(latest) {
			latest = at
		}
	}
	doc.Eta = timestamppb.New(latest)
	// A line of which nothing is known is taken at its word.
	if doc.GetEtaP80() != nil && latest.After(doc.GetEtaP80().AsTime()) {
		doc.EtaP80 = doc.GetEta()
	}
}

// leadEnd is when a part arrives if it is ordered now.
func (d *draft) leadEnd(number string) time.Time {
	days := d.st.parts[number].about.GetLeadTimeDays()
	return d.in.Now.Add(max(lateGrace, time.Duration(days)*24*time.Hour))
}

// limit sets when the hold ends if nothing of it is used: never, once something
// was issued or when there is nothing in it. anew starts its life again.
func (d *draft) limit(doc *inventoryv1.Hold, anew bool) {
	unused, some := true, false
	for _, l := range doc.GetLines() {
		unused = unused && l.GetIssued() == 0
		some = some || open(l)
	}
	if !unused || !some {
		doc.ExpiresAt = nil
		return
	}
	end := d.in.Now
	if doc.GetEta() != nil && doc.GetEta().AsTime().After(end) {
		end = doc.GetEta().AsTime()
	}
	end = end.Add(HoldLife)
	// A date that moved away keeps the hold alive; one that came nearer does not
	// shorten what was promised before.
	later := doc.GetState() == inventoryv1.HoldState_HOLD_STATE_SHORT && doc.GetEta() != nil && doc.GetEtaOrdered()
	if doc.GetExpiresAt() == nil || (anew || later) && end.After(doc.GetExpiresAt().AsTime()) {
		doc.ExpiresAt = timestamppb.New(end)
	}
}
