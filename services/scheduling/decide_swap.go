package scheduling

import (
	"time"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/engine/planner"
	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// swapBookings lets two bookings change places. In two bays each starts when and
// where the other did; in one bay the later goes first and the other follows as soon
// as it can, since the two may not take equally long. Pins go with the jobs.
func (st *State) swapBookings(req *schedulingv1.SwapBookingsRequest, in sitelog.Input) ([]proto.Message, *schedulingv1.SwapBookingsResponse, error) {
	if req.GetJob() == req.GetOther() {
		return nil, nil, fault.New(fault.Invalid, "SWAP_WITH_ITSELF", "a booking cannot change places with itself; name two jobs").
			WithField("other", "must differ from job")
	}
	var bookings []*schedulingv1.Booking
	for _, job := range []string{req.GetJob(), req.GetOther()} {
		w, err := st.movable(job)
		if err != nil {
			return nil, nil, err
		}
		if !w.booked() {
			return nil, nil, fault.New(fault.Precondition, "BOOKING_WAITS", "%s has no place to give: %s", job, w.booking.GetWaitingFor()).With("job", job)
		}
		bookings = append(bookings, w.booking)
	}
	what := req.GetJob() + " and " + req.GetOther()
	d := newDraft(st, in)
	out, err := d.replan(order{cause: what + " changed places", asked: swapped(bookings[0], bookings[1], in.Now)})
	switch {
	case err != nil:
		return nil, nil, err
	case out.refused != nil:
		return nil, nil, impossible(out.refused)
	}
	resp := &schedulingv1.SwapBookingsResponse{
		Booking: d.state.open[req.GetJob()].booking, Other: d.state.open[req.GetOther()].booking,
		Changes: out.changes, Move: d.remember(st, req.GetValidateOnly(), "the swap of "+what, req.GetJob(), req.GetOther()),
	}
	return d.unless(req.GetValidateOnly()), resp, nil
}

// swapped are the places that two bookings go to.
func swapped(a, b *schedulingv1.Booking, now time.Time) map[string]asked {
	if timeOf(b.GetWhen().GetStart()).Before(timeOf(a.GetWhen().GetStart())) {
		a, b = b, a
	}
	to := func(b *schedulingv1.Booking) planner.Wish {
		start := timeOf(b.GetWhen().GetStart())
		if start.Before(now) { // nobody has begun it yet, so its place is still free from now on
			start = now.Truncate(grid)
			if start.Before(now) {
				start = start.Add(grid)
			}
		}
		return planner.Wish{Bay: b.GetBay(), Start: start}
	}
	back, forth := to(b), to(a)
	if a.GetBay() == b.GetBay() {
		back = planner.Wish{Bay: a.GetBay(), NotBefore: forth.Start}
	}
	return map[string]asked{
		a.GetJob(): {wish: back, pin: a.GetPinned(), pinReason: a.GetPinReason()},
		b.GetJob(): {wish: forth, pin: b.GetPinned(), pinReason: b.GetPinReason()},
	}
}
