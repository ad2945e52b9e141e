package desk

import (
	"net/url"
	"regexp"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// moveView is a booking with where it could go, and what that would do to others.
type moveView struct {
	Booking *schedulingv1.Booking
	Bays    []*schedulingv1.Resource
	People  []*schedulingv1.Resource
	// Others are bookings that it could change places with.
	Others []*schedulingv1.Booking
	// What was asked for.
	Bay, Technician, Start, Other string
	Pin                           bool
	// Tried and Swapped say that consequences of a move or a swap are shown.
	Tried, Swapped bool
	Changes        []*schedulingv1.Change
	// Refused says why it cannot be done.
	Refused *problem
}

// showMove shows a booking; with a bay and a time in the address, as after
// dragging, it shows at once what a move there would do.
func (d *Desk) showMove(v *visit) error {
	view, err := d.moveView(v)
	if err != nil {
		return err
	}
	q := v.r.URL.Query()
	bay, start := q.Get("bay"), q.Get("start")
	if bay == "" && start == "" {
		return v.render("move", view)
	}
	view.Bay, view.Start = bay, start
	at, err := v.momentOf("start", start)
	if err != nil {
		return err
	}
	r, err := d.Services.Scheduling.MoveBooking(v.ctx, moveRequest(v, bay, view.Technician, at, false, true))
	return v.renderTried(view, r.GetChanges(), err)
}

func (d *Desk) moveView(v *visit) (*moveView, error) {
	b, err := d.Services.Scheduling.GetBooking(v.ctx, &schedulingv1.GetBookingRequest{Job: v.job(), MinRevision: v.at()})
	if err != nil {
		return nil, err
	}
	r, err := d.Services.Scheduling.ListResources(v.ctx, &schedulingv1.ListResourcesRequest{PageSize: pageSize})
	if err != nil {
		return nil, err
	}
	others, err := d.Services.Scheduling.ListBookings(v.ctx, &schedulingv1.ListBookingsRequest{PageSize: pageSize})
	if err != nil {
		return nil, err
	}
	view := &moveView{Booking: b.GetBooking(), Bay: b.GetBooking().GetBay(), Technician: b.GetBooking().GetTechnician()}
	if start := b.GetBooking().GetWhen().GetStart(); start != nil {
		view.Start = d.fieldTime(start.AsTime())
	}
	for _, resource := range r.GetResources() {
		switch resource.GetKind() {
		case schedulingv1.ResourceKind_RESOURCE_KIND_BAY:
			view.Bays = append(view.Bays, resource)
		case schedulingv1.ResourceKind_RESOURCE_KIND_PERSON:
			view.People = append(view.People, resource)
		default:
		}
	}
	for _, o := range others.GetBookings() {
		if o.GetState() == schedulingv1.BookingState_BOOKING_STATE_BOOKED && o.GetJob() != view.Booking.GetJob() && len(view.Others) < mostRows {
			view.Others = append(view.Others, o)
		}
	}
	return view, nil
}

func moveRequest(v *visit, bay, technician string, start time.Time, pin, tryOnly bool) *schedulingv1.MoveBookingRequest {
	request := &schedulingv1.MoveBookingRequest{
		RequestId: v.requestID(), Job: v.job(), Bay: bay, Technician: technician, Pin: pin, ValidateOnly: tryOnly,
	}
	if request.GetRequestId() == "" {
		request.RequestId = newRequestID() // nothing is kept of a look
	}
	if !start.IsZero() {
		request.Start = timestamppb.New(start)
	}
	return request
}

// renderTried shows what a move would do, or why it cannot be made, in its place on the page.
func (v *visit) renderTried(view *moveView, changes []*schedulingv1.Change, err error) error {
	if err != nil {
		p, status := problemOf(err)
		if status >= 500 {
			return err
		}
		view.Refused, view.Swapped = p, false
		return v.renderStatus(status, "move", view, p)
	}
	view.Tried, view.Changes = !view.Swapped, changes
	return v.render("move", view)
}

// moveBooking tries a move and shows what it would do, or makes it.
func (d *Desk) moveBooking(v *visit) error {
	start, err := v.moment("start")
	if err != nil {
		return err
	}
	tryOnly := v.form("deed") != "move"
	r, err := d.Services.Scheduling.MoveBooking(v.ctx, moveRequest(v, v.form("bay"), v.form("technician"), start, v.form("pin") != "", tryOnly))
	if err == nil && !tryOnly {
		return v.done(d.boardOf(r.GetBooking(), r.GetMove()), "moved", r.GetReceipt())
	}
	view, failed := d.moveView(v)
	if failed != nil {
		return failed
	}
	view.Bay, view.Technician, view.Start, view.Pin = v.form("bay"), v.form("technician"), v.form("start"), v.form("pin") != ""
	return v.renderTried(view, r.GetChanges(), err)
}

// swapBookings lets two bookings change places, or shows what that would do.
func (d *Desk) swapBookings(v *visit) error {
	tryOnly := v.form("deed") != "swap"
	r, err := d.Services.Scheduling.SwapBookings(v.ctx, &schedulingv1.SwapBookingsRequest{
		RequestId: v.requestID(), Job: v.job(), Other: v.form("other"), ValidateOnly: tryOnly,
	})
	if err == nil && !tryOnly {
		return v.done(d.boardOf(r.GetBooking(), r.GetMove()), "swapped", r.GetReceipt())
	}
	view, failed := d.moveView(v)
	if failed != nil {
		return failed
	}
	view.Other, view.Swapped = v.form("other"), true
	return v.renderTried(view, r.GetChanges(), err)
}

// boardOf leads to the day on which a booking lies, where its move can be taken back.
func (d *Desk) boardOf(b *schedulingv1.Booking, move string) string {
	q := url.Values{}
	if move != "" {
		q.Set("undo", move)
	}
	if start := b.GetWhen().GetStart(); start != nil {
		q.Set("day", start.AsTime().In(d.Zone).Format(time.DateOnly))
	}
	return "/bays?" + q.Encode()
}

// pinBooking keeps a booking where it lies, or lets it go again.
func (d *Desk) pinBooking(v *visit) error {
	if v.form("deed") == "unpin" {
		r, err := d.Services.Scheduling.UnpinBooking(v.ctx, &schedulingv1.UnpinBookingRequest{RequestId: v.requestID(), Job: v.job()})
		if err != nil {
			return err
		}
		return v.done(d.boardOf(r.GetBooking(), ""), "unpinned", r.GetReceipt())
	}
	r, err := d.Services.Scheduling.PinBooking(v.ctx, &schedulingv1.PinBookingRequest{RequestId: v.requestID(), Job: v.job(), Reason: v.form("reason")})
	if err != nil {
		return err
	}
	return v.done(d.boardOf(r.GetBooking(), ""), "pinned", r.GetReceipt())
}

var movePattern = regexp.MustCompile(`^move-[1-9][0-9]{0,9}$`)

// undoView is what taking a move back would do.
type undoView struct {
	Move    string
	Undone  string
	Changes []*schedulingv1.Change
}

// showUndo tells what the last move was, and what taking it back would do.
func (d *Desk) showUndo(v *visit) error {
	r, err := d.Services.Scheduling.UndoMove(v.ctx, &schedulingv1.UndoMoveRequest{RequestId: newRequestID(), ValidateOnly: true})
	if err != nil {
		return err
	}
	return v.render("undo", undoView{Move: r.GetMove(), Undone: r.GetUndone(), Changes: r.GetChanges()})
}

// undoMove takes a move back: the one named, or whatever was last.
func (d *Desk) undoMove(v *visit) error {
	r, err := d.Services.Scheduling.UndoMove(v.ctx, &schedulingv1.UndoMoveRequest{RequestId: v.requestID(), Move: v.form("move")})
	if err != nil {
		return err
	}
	return v.done("/bays", "undone", r.GetReceipt())
}
