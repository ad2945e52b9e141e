package desk

import (
	"context"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	commonv1 "ramprow/proto/ramprow/common/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// boardView is the bays of one day over time.
type boardView struct {
	Day            time.Time
	Date           string
	Previous, Next string // days, as in 2026-11-27
	Today          bool
	Hours          []hour
	Now            int // place of the present moment; -1: not on this day
	Lanes          []lane
	Waiting        []*schedulingv1.Booking
}

// hour is a mark on the board.
type hour struct {
	At   int // place, in thousandths of the board
	Text string
}

// lane is one bay with what lies in it.
type lane struct {
	Bay    *schedulingv1.Resource
	Blocks []blockBar
	Bars   []bar
}

// bar is a booking in its place.
type bar struct {
	*schedulingv1.Booking

	Left, Width int // thousandths of the board
	Before      bool
	After       bool // it goes on beyond the board
	Late        bool // it ends after it was wanted
}

// blockBar is a time at which the bay cannot be used.
type blockBar struct {
	Left, Width int
	Reason      string
}

const (
	boardFrom = 6  // hours after midnight
	boardTo   = 20 //
	boardSpan = 1000
)

func (d *Desk) showBays(v *visit) error {
	day, err := d.boardDay(v.r.URL.Query().Get("day"))
	if err != nil {
		return err
	}
	view, err := d.board(v.ctx, day, v.at())
	if err != nil {
		return err
	}
	return v.render("bays", view)
}

// boardDay reads which day is wanted; none is today.
func (d *Desk) boardDay(text string) (time.Time, error) {
	now := d.Now().In(d.Zone)
	if text == "" {
		return time.Date(now.Year(), now.Month(), now.Day(), 0, 0, 0, 0, d.Zone), nil
	}
	day, err := time.ParseInLocation(time.DateOnly, text, d.Zone)
	if err != nil {
		return time.Time{}, badField("day", "must be a day as in 2026-03-09")
	}
	return day, nil
}

func (d *Desk) board(ctx context.Context, day time.Time, at uint64) (boardView, error) {
	from, to := day.Add(boardFrom*time.Hour), day.Add(boardTo*time.Hour)
	r, err := d.Services.Scheduling.GetBoard(ctx, &schedulingv1.GetBoardRequest{
		When: &commonv1.Interval{Start: timestamppb.New(from), End: timestamppb.New(to)}, MinRevision: at,
	})
	if err != nil {
		return boardView{}, err
	}
	view := boardView{
		Day: day, Date: day.Format(time.DateOnly), Previous: day.AddDate(0, 0, -1).Format(time.DateOnly), Next: day.AddDate(0, 0, 1).Format(time.DateOnly),
		Now: -1, Waiting: r.GetWaiting(),
	}
	today, _ := d.boardDay("")
	view.Today = today.Equal(day)
	if now := d.Now(); now.After(from) && now.Before(to) {
		view.Now = place(now, from, to)
	}
	for h := boardFrom; h < boardTo; h++ {
		at := day.Add(time.Duration(h) * time.Hour)
		view.Hours = append(view.Hours, hour{At: place(at, from, to), Text: at.In(d.Zone).Format("15")})
	}
	for _, l := range r.GetLanes() {
		view.Lanes = append(view.Lanes, laneOf(l, from, to))
	}
	return view, nil
}

func laneOf(l *schedulingv1.BoardLane, from, to time.Time) lane {
	made := lane{Bay: l.GetBay()}
	for _, b := range l.GetBay().GetBlocks() {
		start, end := b.GetWhen().GetStart().AsTime(), b.GetWhen().GetEnd().AsTime()
		if end.After(from) && start.Before(to) {
			left := place(start, from, to)
			made.Blocks = append(made.Blocks, blockBar{Left: left, Width: max(1, place(end, from, to)-left), Reason: b.GetReason()})
		}
	}
	for _, b := range l.GetBookings() {
		start, end := b.GetWhen().GetStart().AsTime(), b.GetWhen().GetEnd().AsTime()
		left := place(start, from, to)
		made.Bars = append(made.Bars, bar{
			Booking: b, Left: left, Width: max(12, place(end, from, to)-left),
			Before: start.Before(from), After: end.After(to),
			Late: b.GetWantedBy() != nil && end.After(b.GetWantedBy().AsTime()),
		})
	}
	return made
}

// place gives where a moment lies on the board, within its ends.
func place(at, from, to time.Time) int {
	share := float64(at.Sub(from)) / float64(to.Sub(from))
	return int(boardSpan * min(1, max(0, share)))
}

// moveView is a booking with where it could go, and what that would do to others.
type moveView struct {
	Booking *schedulingv1.Booking
	Bays    []*schedulingv1.Resource
	People  []*schedulingv1.Resource
	// What was asked for.
	Bay, Technician, Start string
	// Consequences, if a move was tried and can be made.
	Tried   bool
	Changes []*schedulingv1.Change
}

func (d *Desk) showMove(v *visit) error {
	view, err := d.moveView(v)
	if err != nil {
		return err
	}
	q := v.r.URL.Query()
	if bay := q.Get("bay"); bay != "" {
		view.Bay = bay
	}
	if start := q.Get("start"); start != "" {
		view.Start = start
	}
	return v.render("move", view)
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
	return view, nil
}

// moveBooking tries a move and shows what it would do, or makes it.
func (d *Desk) moveBooking(v *visit) error {
	start, err := v.moment("start")
	if err != nil {
		return err
	}
	request := &schedulingv1.MoveBookingRequest{
		RequestId: v.requestID(), Job: v.job(), Bay: v.form("bay"), Technician: v.form("technician"),
		Pin: v.form("pin") != "", ValidateOnly: v.form("deed") != "move",
	}
	if !start.IsZero() {
		request.Start = timestamppb.New(start)
	}
	r, err := d.Services.Scheduling.MoveBooking(v.ctx, request)
	if err != nil {
		return err
	}
	if !request.GetValidateOnly() {
		return v.done("/bays", "moved", r.GetReceipt())
	}
	view, err := d.moveView(v)
	if err != nil {
		return err
	}
	view.Bay, view.Technician, view.Start = v.form("bay"), v.form("technician"), v.form("start")
	view.Tried, view.Changes = true, r.GetChanges()
	return v.render("move", view)
}

// pinBooking keeps a booking where it lies, or lets it go again.
func (d *Desk) pinBooking(v *visit) error {
	if v.form("deed") == "unpin" {
		r, err := d.Services.Scheduling.UnpinBooking(v.ctx, &schedulingv1.UnpinBookingRequest{RequestId: v.requestID(), Job: v.job()})
		if err != nil {
			return err
		}
		return v.done("/bays", "pinned", r.GetReceipt())
	}
	r, err := d.Services.Scheduling.PinBooking(v.ctx, &schedulingv1.PinBookingRequest{RequestId: v.requestID(), Job: v.job(), Reason: v.form("reason")})
	if err != nil {
		return err
	}
	return v.done("/bays", "pinned", r.GetReceipt())
}
