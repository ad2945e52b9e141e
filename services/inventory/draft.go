package inventory

import (
	"maps"
	"slices"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// MaxOnHand bounds what a shelf may hold of a part, in its unit. Sums of such
// figures over all parts, holds and orders of a site stay far within an int64.
const MaxOnHand = 1_000_000_000_000

// draft collects what one decision changes, as copies over the state. Its steps
// may come in any order; finish serves who waits and gives the events.
type draft struct {
	st     *State
	in     sitelog.Input
	shelf  map[string]*shelf // changed or asked for, by part
	holds  map[string]*inventoryv1.Hold
	claims map[string]claim // of the jobs in holds
	orders map[string]*inventoryv1.Order
	// likelyDays by delivery, see likely.
	likelyDays map[coming]int
	// touched are the parts of which something came free, was wanted or was dated anew.
	touched map[string]struct{}
	moved   uint64
	// returned is the number of the newest return, and opened are those that this
	// decision opens.
	returned uint64
	opened   []*inventoryv1.Return
	voided   map[string]bool // returns that this decision has ended, by name

	first  []proto.Message // what raises the shelf, and orders
	told   []telling       // what the decision is about
	last   []proto.Message // what lowers the shelf
	served []string        // jobs that now have everything
}

// shelf is what the draft makes of a part's stock.
type shelf struct {
	onHand int64
	held   int64
	worth  worth
}

// telling is the event for one job, made once its hold is final.
type telling struct {
	job  string
	tell func(*inventoryv1.Hold) proto.Message
}

func newDraft(st *State, in sitelog.Input) *draft {
	return &draft{
		st: st, in: in,
		shelf:      map[string]*shelf{},
		holds:      map[string]*inventoryv1.Hold{},
		claims:     map[string]claim{},
		orders:     map[string]*inventoryv1.Order{},
		likelyDays: map[coming]int{},
		touched:    map[string]struct{}{},
		moved:      st.moved,
		returned:   st.returned,
		voided:     map[string]bool{},
	}
}

func (d *draft) now() *timestamppb.Timestamp { return timestamppb.New(d.in.Now) }

// stock gives the shelf of a part, to be changed.
func (d *draft) stock(number string) *shelf {
	s := d.shelf[number]
	if s == nil {
		p := d.st.parts[number]
		s = &shelf{onHand: p.onHand, held: p.held, worth: p.worth}
		d.shelf[number] = s
	}
	return s
}

func (d *draft) touch(number string) { d.touched[number] = struct{}{} }

// hold gives a job's hold, to be changed; nil if it has none.
func (d *draft) hold(job string) *inventoryv1.Hold {
	if doc := d.holds[job]; doc != nil {
		return doc
	}
	h := d.st.holds[job]
	if h == nil {
		return nil
	}
	d.holds[job] = proto.CloneOf(h.doc)
	d.claims[job] = h.claim()
	return d.holds[job]
}

// begin gives a job's hold, a new one if it has none, at its place in the queues:
// one that was given up comes back to the end.
func (d *draft) begin(job string, priority uint32) *inventoryv1.Hold {
	since := d.in.Now
	doc := d.hold(job)
	if doc == nil {
		doc = &inventoryv1.Hold{Name: holdName(job), Job: job}
		d.holds[job] = doc
	} else if !ended(doc) {
		since = d.st.holds[job].since
	}
	doc.Priority = priority
	d.claims[job] = claimOf(doc, since)
	return doc
}

// look gives a job's hold as it is in the draft, not to be changed.
func (d *draft) look(job string) *inventoryv1.Hold {
	if doc := d.holds[job]; doc != nil {
		return doc
	}
	return d.st.holds[job].doc
}

// take puts a quantity from the shelf to a line.
func (d *draft) take(l *inventoryv1.HoldLine, quantity int64) {
	d.stock(l.GetPart()).held += quantity
	l.Held += quantity
}

// free takes everything of a line off its job.
func (d *draft) free(l *inventoryv1.HoldLine) {
	d.stock(l.GetPart()).held -= l.GetHeld()
	l.Held = 0
	d.touch(l.GetPart())
}

// change is a movement to be.
type change struct {
	part      string
	kind      inventoryv1.MovementKind
	quantity  int64 // signed
	reference string
	note      string
	cost      *commonv1.Money        // of all of it, if that is known
	cause     inventoryv1.CountCause // of a count
	secondBy  string
}

// move changes what is on hand.
func (d *draft) move(c change) error {
	s := d.stock(c.part)
	if s.onHand+c.quantity > MaxOnHand {
		return fault.New(fault.Precondition, "SHELF_TOO_FULL",
			"%d of %s would be on hand, more than the %d that can be kept; check the quantity", s.onHand+c.quantity, c.part, int64(MaxOnHand)).
			About("Part", partName(c.part))
	}
	if err := s.worth.priced(c.part, c.quantity, c.cost); err != nil {
		return err
	}
	var value int64
	s.worth, value = s.worth.moved(d.st.parts[c.part].about, c)
	s.onHand += c.quantity
	d.moved++
	event := &inventoryv1.StockMoved{Movement: &inventoryv1.Movement{
		Number:      d.moved,
		Part:        c.part,
		Kind:        c.kind,
		Quantity:    c.quantity,
		OnHandAfter: s.onHand,
		Reference:   c.reference,
		Note:        c.note,
		At:          d.now(),
		By:          d.in.Actor.Person,

		ValueMinorUnits:      value,
		ValueAfterMinorUnits: s.worth.Value,
		CurrencyCode:         s.worth.currency,
		Cause:                c.cause,
		SecondBy:             c.secondBy,
	}}
	if c.quantity > 0 {
		d.first = append(d.first, event)
	} else {
		d.last = append(d.last, event)
	}
	d.touch(c.part)
	return nil
}

// tell makes the event that the decision is about, once the job's hold is final.
func (d *draft) tell(job string, event func(*inventoryv1.Hold) proto.Message) {
	d.told = append(d.told, telling{job, event})
}

// setOrder replaces an order; the holds that it was to serve are dated anew.
func (d *draft) setOrder(o *inventoryv1.Order, event proto.Message) {
	d.orders[o.GetName()] = o
	d.first = append(d.first, event)
	for _, l := range o.GetLines() {
		d.touch(l.GetPart())
	}
}

// finish serves who waits and gives the events: what raises the shelf before
// what uses it, and what lowers it after what let go of it, so that no event in
// between shows more held than there is.
func (d *draft) finish() []proto.Message {
	for _, number := range slices.Sorted(maps.Keys(d.touched)) {
		d.serve(number)
		d.date(number)
	}
	events := d.first
	subjects := map[string]bool{}
	for _, t := range d.told {
		subjects[t.job] = true
		d.close(d.holds[t.job])
		events = append(events, t.tell(d.holds[t.job]))
	}
	events = append(events, d.last...)
	for _, job := range slices.SortedFunc(maps.Keys(d.holds), compareJobs) {
		if subjects[job] {
			continue
		}
		doc := d.holds[job]
		d.close(doc)
		events = append(events, held(doc))
	}
	return events
}

// held is the event that says how a hold now stands.
func held(doc *inventoryv1.Hold) proto.Message {
	if doc.GetState() == inventoryv1.HoldState_HOLD_STATE_SHORT {
		return &inventoryv1.PartsShort{Job: doc.GetJob(), Hold: doc}
	}
	return &inventoryv1.PartsHeld{Job: doc.GetJob(), Hold: doc}
}
