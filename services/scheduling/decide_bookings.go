package scheduling

import (
	"google.golang.org/protobuf/proto"

	"ramprow/internal/engine/planner"
	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// moveBooking puts a job where it is wished and arranges the rest around it. A
// wish that cannot be met is refused with the facts that stand in its way.
func (st *State) moveBooking(req *schedulingv1.MoveBookingRequest, in sitelog.Input) ([]proto.Message, *schedulingv1.MoveBookingResponse, error) {
	if begun := st.open[req.GetJob()]; begun != nil && begun.started() {
		return st.correctBegun(begun, req, in)
	}
	w, err := st.movable(req.GetJob())
	if err != nil {
		return nil, nil, err
	}
	if why := w.waitsFor(); why != "" {
		return nil, nil, fault.New(fault.Precondition, "BOOKING_NOT_READY", "%s cannot be booked yet: %s", req.GetJob(), why).With("job", req.GetJob())
	}
	d := newDraft(st, in)
	out, err := d.replan(order{
		cause: req.GetJob() + " was moved by hand",
		asked: map[string]asked{req.GetJob(): {
			wish: planner.Wish{Bay: req.GetBay(), Person: req.GetTechnician(), Start: timeOf(req.GetStart())},
			pin:  req.GetPin(),
		}},
	})
	switch {
	case err != nil:
		return nil, nil, err
	case out.refused != nil:
		return nil, nil, impossible(out.refused)
	}
	resp := &schedulingv1.MoveBookingResponse{
		Booking: d.state.open[req.GetJob()].booking, Changes: out.changes,
		Move: d.remember(st, req.GetValidateOnly(), "the move of "+req.GetJob(), req.GetJob()),
	}
	return d.unless(req.GetValidateOnly()), resp, nil
}

// impossible says each fact that stands in the way of a wish.
func impossible(e *planner.Impossible) error {
	refusal := fault.New(fault.Precondition, "WISH_IMPOSSIBLE", "%s; change one of these, or wish something else", e.Error()).
		With("job", e.Job).Because(e)
	for _, f := range e.Facts {
		refusal = refusal.WithUnmet(fault.Unmet{Type: string(f.Kind), Subject: orElse(f.Resource, e.Job), Description: f.Text})
	}
	return refusal
}

// pinBooking keeps a booking where it is.
func (st *State) pinBooking(req *schedulingv1.PinBookingRequest, in sitelog.Input) ([]proto.Message, *schedulingv1.PinBookingResponse, error) {
	w, err := st.movable(req.GetJob())
	if err != nil {
		return nil, nil, err
	}
	if !w.booked() {
		return nil, nil, fault.New(fault.Precondition, "BOOKING_WAITS", "%s has no place that could be kept: %s", req.GetJob(), w.booking.GetWaitingFor()).With("job", req.GetJob())
	}
	d := newDraft(st, in)
	if !w.booking.GetPinned() || w.booking.GetPinReason() != req.GetReason() {
		d.add(&schedulingv1.BookingPinned{Booking: w.booking.GetName(), Reason: req.GetReason()})
	}
	return d.events, &schedulingv1.PinBookingResponse{Booking: d.state.open[req.GetJob()].booking}, nil
}

// unpinBooking lets a booking be moved again.
func (st *State) unpinBooking(req *schedulingv1.UnpinBookingRequest, in sitelog.Input) ([]proto.Message, *schedulingv1.UnpinBookingResponse, error) {
	w, err := st.movable(req.GetJob())
	if err != nil {
		return nil, nil, err
	}
	if !w.booking.GetPinned() {
		return nil, &schedulingv1.UnpinBookingResponse{Booking: w.booking}, nil
	}
	d := newDraft(st, in)
	d.add(&schedulingv1.BookingUnpinned{Booking: w.booking.GetName()})
	out, err := d.replan(order{cause: req.GetJob() + " is no longer pinned"})
	resp := &schedulingv1.UnpinBookingResponse{Booking: d.state.open[req.GetJob()].booking, Changes: out.changes}
	return d.unless(req.GetValidateOnly()), resp, err
}

// movable finds a job that is booked or waits; begun and ended work stays.
func (st *State) movable(job string) (*work, error) {
	w := st.open[job]
	if w == nil || w.booking == nil {
		if f := st.archived(job); f != nil {
			return nil, f
		}
		if over := st.ended[job]; over != nil {
			return nil, fault.New(fault.Precondition, "BOOKING_ENDED", "%s is over; there is nothing to move", job).With("job", job)
		}
		return nil, noBooking(job)
	}
	if w.started() {
		return nil, begunStays(w)
	}
	return w, nil
}

func noBooking(job string) error {
	return fault.New(fault.NotFound, "BOOKING_NOT_FOUND", "%s has no booking; it gets one when its diagnosis is confirmed", job).About("Booking", bookingName(job))
}
