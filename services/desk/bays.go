package desk

import (
	"context"
	"strconv"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	commonv1 "ramprow/proto/ramprow/common/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
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
	MoreWaiting    int
	// Others are jobs that scheduling has not heard of yet, and jobs without the customer's word.
	Others []*jobv1.JobSummary
	// Undo names the move that was just made; empty: none.
	Undo string
}

// mostRows keeps a list on a page short; the list of jobs has all of them.
const mostRows = 60

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
	if view.Others, err = d.notPlanned(v); err != nil {
		return err
	}
	if move := v.r.URL.Query().Get("undo"); movePattern.MatchString(move) {
		view.Undo = move
	}
	return v.render("bays", view)
}

// notPlanned lists jobs that cannot be booked yet: no diagnosis, or no word of the customer.
func (d *Desk) notPlanned(v *visit) ([]*jobv1.JobSummary, error) {
	var jobs []*jobv1.JobSummary
	at, _ := strconv.ParseUint(v.r.URL.Query().Get("jobs-at"), 10, 64) // none: some milliseconds old will do
	for _, state := range []jobv1.JobState{jobv1.JobState_JOB_STATE_AWAITING_AUTHORITY, jobv1.JobState_JOB_STATE_OPENED} {
		r, err := d.Services.Job.ListJobs(v.ctx, &jobv1.ListJobsRequest{PageSize: mostRows / 2, State: state, MinRevision: at})
		if err != nil {
			return nil, err
		}
		jobs = append(jobs, r.GetJobs()...)
	}
	return jobs, nil
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
	view.Waiting, view.MoreWaiting = shorten(view.Waiting)
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
		view.Lanes = append(view.Lanes, d.laneOf(l, from, to))
	}
	return view, nil
}

func (d *Desk) laneOf(l *schedulingv1.BoardLane, from, to time.Time) lane {
	made := lane{Bay: l.GetBay()}
	for _, b := range l.GetAway() {
		left := place(b.GetWhen().GetStart().AsTime(), from, to)
		why := strings.TrimPrefix(d.words.enum(b.GetKind())+": "+b.GetReason(), ": ")
		made.Blocks = append(made.Blocks, blockBar{Left: left, Width: max(1, place(b.GetWhen().GetEnd().AsTime(), from, to)-left), Reason: why})
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
func place(at, from, to time.Time) int { return placeOn(boardSpan, at, from, to) }

// placeOn gives where a moment lies on a line of some length between two others, within its ends.
func placeOn(length float64, at, from, to time.Time) int {
	share := float64(at.Sub(from)) / float64(to.Sub(from))
	return int(length * min(1, max(0, share)))
}
