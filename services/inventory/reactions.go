package inventory

import (
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/platform/sitelog"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// react decides what an event of another service brings about here. What is
// unknown or stale brings about nothing.
func react(st *State, f sitelog.Foreign, in sitelog.Input) ([]proto.Message, error) {
	if f := st.lacks(f.Message); f != nil {
		return nil, f
	}
	switch m := f.Message.(type) {
	case *jobv1.CatalogueImported:
		return listCatalogue(st, m), nil
	case *jobv1.DiagnosisConfirmed:
		return holdPlan(st, in, wish{job: m.GetJob(), plan: m.GetPlan(), priority: m.GetPriority()})
	case *jobv1.PlanRevised:
		priority := st.holds[m.GetJob()].priority()
		return holdPlan(st, in, wish{job: m.GetJob(), plan: m.GetPlan(), priority: priority})
	case *jobv1.DesignFound:
		return narrow(st, in, m), nil
	case *jobv1.AppointmentChanged:
		return rank(st, in, m), nil
	case *jobv1.JobCancelled:
		return release(st, in, ending{
			job: m.GetJob(), state: inventoryv1.HoldState_HOLD_STATE_RELEASED, reason: "job cancelled: " + m.GetReason(), over: true,
		}), nil
	case *jobv1.InvoiceClosed:
		return release(st, in, ending{
			job: m.GetJob(), state: inventoryv1.HoldState_HOLD_STATE_SETTLED, reason: "job invoiced", over: true,
		}), nil
	case *jobv1.StepStarted:
		if m.GetFirst() {
			return extendUntil(st, m.GetJob(), in.Now.Add(HoldLife)), nil
		}
	case *schedulingv1.BookingMade:
		return followBooking(st, m.GetBooking()), nil
	case *schedulingv1.BookingMoved:
		return followBooking(st, m.GetBooking()), nil
	case *schedulingv1.BookingWaits:
		return booked(st, &inventoryv1.HoldBooked{Job: m.GetBooking().GetJob()}), nil
	case *schedulingv1.BookingCancelled:
		return booked(st, &inventoryv1.HoldBooked{Job: m.GetBooking().GetJob()}), nil
	}
	return nil, nil
}

func (h *holding) priority() uint32 {
	if h == nil {
		return 0
	}
	return h.doc.GetPriority()
}

// narrow releases the lines that were held for other values of a feature.
func narrow(st *State, in sitelog.Input, m *jobv1.DesignFound) []proto.Message {
	d := newDraft(st, in)
	var released []string
	for _, l := range d.hold(m.GetJob()).GetLines() {
		if open(l) && l.GetFeature() == m.GetFeature() && l.GetValue() != m.GetValue() {
			d.free(l)
			letGo(l)
			released = append(released, l.GetLine())
		}
	}
	if len(released) == 0 {
		return nil
	}
	d.tell(m.GetJob(), func(doc *inventoryv1.Hold) proto.Message {
		return &inventoryv1.HoldNarrowed{Job: m.GetJob(), Hold: doc, ReleasedLines: released}
	})
	return d.finish()
}

// rank hears that a job became more or less urgent: what comes is given out in the new
// order. Nobody loses what lies on the shelf for him.
func rank(st *State, in sitelog.Input, m *jobv1.AppointmentChanged) []proto.Message {
	h := st.holds[m.GetJob()]
	if h == nil || ended(h.doc) || h.priority() == m.GetPriority() {
		return nil
	}
	d := newDraft(st, in)
	for _, l := range d.begin(m.GetJob(), m.GetPriority()).GetLines() {
		if lacking(l) > 0 {
			d.touch(l.GetPart())
		}
	}
	return d.finish()
}

// ending says how and why a hold ends.
type ending struct {
	job    string
	state  inventoryv1.HoldState
	reason string
	over   bool // the job ends with it
}

// release ends a job's hold: one that is settled already hears that its job is
// over, so that nothing is held for it any more.
func release(st *State, in sitelog.Input, e ending) []proto.Message {
	h := st.holds[e.job]
	if h == nil || h.over {
		return nil
	}
	d := newDraft(st, in)
	d.release(e)
	return d.finish()
}

// release frees every line that is still open. What was issued stays with the
// hold, to be brought back or charged.
func (d *draft) release(e ending) {
	doc := d.hold(e.job)
	for _, l := range doc.GetLines() {
		if open(l) {
			d.free(l)
			letGo(l)
		}
	}
	doc.State = e.state
	expired := e.state == inventoryv1.HoldState_HOLD_STATE_EXPIRED
	d.tell(e.job, func(doc *inventoryv1.Hold) proto.Message {
		return &inventoryv1.HoldReleased{Job: e.job, Hold: doc, Reason: e.reason, Expired: expired, JobOver: e.over}
	})
}

// followBooking keeps a hold alive until some time after the job's turn, and notes that.
func followBooking(st *State, b *schedulingv1.Booking) []proto.Message {
	if b.GetWhen().GetStart() == nil {
		return nil
	}
	events := extendUntil(st, b.GetJob(), b.GetWhen().GetStart().AsTime().Add(HoldLife))
	return append(events, booked(st, &inventoryv1.HoldBooked{Job: b.GetJob(), Turn: b.GetWhen().GetStart(), Bay: b.GetBay()})...)
}

// booked notes a job's turn with its hold, if that is news.
func booked(st *State, m *inventoryv1.HoldBooked) []proto.Message {
	h := st.holds[m.GetJob()]
	if h == nil || h.doc.GetBay() == m.GetBay() && proto.Equal(h.doc.GetTurn(), m.GetTurn()) {
		return nil
	}
	return []proto.Message{m}
}

// extendUntil moves the end of an unused hold, never to an earlier time.
func extendUntil(st *State, job string, end time.Time) []proto.Message {
	h := st.holds[job]
	if h == nil || h.doc.GetExpiresAt() == nil || !end.After(h.doc.GetExpiresAt().AsTime()) {
		return nil
	}
	return []proto.Message{&inventoryv1.HoldExtended{Job: job, ExpiresAt: timestamppb.New(end)}}
}
