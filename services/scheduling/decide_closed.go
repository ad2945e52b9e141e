package scheduling

import (
	"fmt"
	"maps"
	"slices"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/engine/planner"
	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	"ramprow/internal/workhours"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

const (
	// mostClosedDays bounds what a site keeps.
	mostClosedDays = 400
	// longestClosed is the most days in a row, and so that those of two years do not meet.
	longestClosed = 364
)

// setClosedDays closes the site on days. Begun work stays in its bay and pauses; pinned bookings are moved only if
// that is said.
func (st *State) setClosedDays(req *schedulingv1.SetClosedDaysRequest, in sitelog.Input) ([]proto.Message, *schedulingv1.SetClosedDaysResponse, error) {
	if err := checkClosedDays(req.GetClosedDays()); err != nil {
		return nil, nil, err
	}
	d := newDraft(st, in)
	var titles []string
	for _, day := range req.GetClosedDays() {
		if !proto.Equal(st.closedDays[day.GetName()], day) {
			d.add(&schedulingv1.ClosedDaySet{ClosedDay: day})
			titles = append(titles, day.GetTitle())
		}
	}
	if len(titles) == 0 {
		return nil, &schedulingv1.SetClosedDaysResponse{}, nil
	}
	if len(d.state.closedDays) > mostClosedDays {
		return nil, nil, fault.New(fault.Precondition, "TOO_MANY_CLOSED_DAYS", "a site has at most %d closed days; remove some, or join those in a row", mostClosedDays)
	}
	out, err := d.replan(order{cause: "closed: " + listed(titles)})
	if err != nil {
		return nil, nil, err
	}
	if pinned := st.pinsMoved(d.state); len(pinned) > 0 && !req.GetMovePinned() {
		return nil, nil, pinsInTheWay(pinned)
	}
	return d.unless(req.GetValidateOnly()), &schedulingv1.SetClosedDaysResponse{Changes: out.changes}, nil
}

// listed writes out the first of some titles.
func listed(titles []string) string {
	const most = 2
	text := titles[0]
	for _, t := range titles[1:min(len(titles), most)] {
		text += ", " + t
	}
	if more := len(titles) - most; more > 0 {
		text += fmt.Sprintf(" and %d more", more)
	}
	return text
}

// pinsMoved gives the pinned bookings that lie elsewhere afterwards. One that only ends later has kept its place.
func (st *State) pinsMoved(after *State) []*schedulingv1.Booking {
	var moved []*schedulingv1.Booking
	for _, job := range st.jobs() {
		old, now := st.open[job].booking, after.open[job].booking
		if !st.open[job].booked() || !old.GetPinned() {
			continue
		}
		if old.GetBay() != now.GetBay() || old.GetTechnician() != now.GetTechnician() || !proto.Equal(old.GetWhen().GetStart(), now.GetWhen().GetStart()) {
			moved = append(moved, old)
		}
	}
	return moved
}

func pinsInTheWay(pinned []*schedulingv1.Booking) error {
	refusal := fault.New(fault.Precondition, "PINNED_WORK", "pinned bookings would have to move; unpin or move them before, or say that they may be moved")
	for _, b := range pinned {
		refusal = refusal.WithUnmet(fault.Unmet{Type: "pinned", Subject: b.GetJob(), Description: fmt.Sprintf("%s is pinned there (%s)", b.GetJob(), orElse(b.GetPinReason(), "no reason given"))})
	}
	return refusal
}

func checkClosedDays(days []*schedulingv1.ClosedDay) error {
	bad := fault.New(fault.Invalid, "CLOSED_DAY_INVALID", "the site cannot be closed as it is described")
	seen := map[string]bool{}
	for i, day := range days {
		field := fmt.Sprintf("closed_days[%d].", i)
		first, ok := workhours.ParseDay(day.GetFirst())
		if !ok {
			bad = bad.WithField(field+"first", "must be a day as in 2026-03-09")
		}
		if last, ok := workhours.ParseLast(day.GetLast(), first); !ok || last < first || last-first >= longestClosed {
			bad = bad.WithField(field+"last", "must be a day as in 2026-03-09, not before first and less than %d days after it", longestClosed)
		}
		if seen[day.GetName()] {
			bad = bad.WithField(field+"name", "is given twice")
		}
		seen[day.GetName()] = true
	}
	if len(bad.Fields) > 0 {
		return bad
	}
	return nil
}

// removeClosedDay opens the site on it again.
func (st *State) removeClosedDay(req *schedulingv1.RemoveClosedDayRequest, in sitelog.Input) ([]proto.Message, *schedulingv1.RemoveClosedDayResponse, error) {
	day, ok := st.closedDays[req.GetName()]
	if !ok {
		return nil, nil, fault.New(fault.NotFound, "CLOSED_DAY_NOT_FOUND", "there is no %s; list the closed days to see them", req.GetName()).About("ClosedDay", req.GetName())
	}
	d := newDraft(st, in)
	d.add(&schedulingv1.ClosedDayRemoved{ClosedDay: req.GetName()})
	out, err := d.replan(order{cause: "open again: " + day.GetTitle()})
	return d.unless(req.GetValidateOnly()), &schedulingv1.RemoveClosedDayResponse{Changes: out.changes}, err
}

// closeDay keeps a closed day. Those that were over before a day and do not come again are dropped.
func (st *State) closeDay(day *schedulingv1.ClosedDay, before planner.Day) {
	maps.DeleteFunc(st.closedDays, func(_ string, old *schedulingv1.ClosedDay) bool {
		first, _ := workhours.ParseDay(old.GetFirst())
		last, ok := workhours.ParseLast(old.GetLast(), first)
		return ok && !old.GetYearly() && last < before
	})
	st.closedDays[day.GetName()] = day
}

// siteCalendar is what all resources share.
func (st *State) siteCalendar() *schedulingv1.SiteCalendar {
	return &schedulingv1.SiteCalendar{
		Zone:       st.zone.String(),
		ClosedDays: slices.SortedFunc(maps.Values(st.closedDays), workhours.CompareClosedDays),
	}
}
