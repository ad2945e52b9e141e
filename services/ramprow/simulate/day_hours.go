package simulate

import (
	"math/rand/v2"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/platform/simulation"
	commonv1 "ramprow/proto/ramprow/common/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// hours changes when people and bays are there: now and then somebody stays longer, the shop closes for a day, a lift is
// looked after, or another roster holds.
func (d *day) hours(r *rand.Rand, id string) simulation.Request {
	on := d.began.AddDate(0, 0, r.IntN(3))
	person := pick(r, []string{"people/malik", "people/tove"})
	switch r.IntN(4) {
	case 0:
		from := d.began.Add(time.Duration(r.IntN(40)) * time.Hour)
		return ask(boardLog, schedulingv1.SchedulingService_PlanOvertime_FullMethodName, &schedulingv1.PlanOvertimeRequest{
			RequestId: id, Resource: person, Reason: "promised",
			When: &commonv1.Interval{Start: timestamppb.New(from), End: timestamppb.New(from.Add(time.Duration(1+r.IntN(4)) * time.Hour))},
		})
	case 1:
		closed := &schedulingv1.ClosedDay{Name: "closed-days/lake", Title: "Lake day", First: on.Format(time.DateOnly), Yearly: r.IntN(2) == 0}
		if r.IntN(2) == 0 {
			closed.Kinds = []schedulingv1.ResourceKind{schedulingv1.ResourceKind_RESOURCE_KIND_PERSON}
		}
		return ask(boardLog, schedulingv1.SchedulingService_SetClosedDays_FullMethodName, &schedulingv1.SetClosedDaysRequest{
			RequestId: id, ClosedDays: []*schedulingv1.ClosedDay{closed}, MovePinned: r.IntN(2) == 0,
		})
	case 2:
		return ask(boardLog, schedulingv1.SchedulingService_PlanMaintenance_FullMethodName, &schedulingv1.PlanMaintenanceRequest{
			RequestId: id, Resource: "bays/pit", Maintenance: &schedulingv1.Maintenance{
				Title: "pump", First: on.Format(time.DateOnly), FromMinute: uint32(r.IntN(1440)), Minutes: uint32(1 + r.IntN(180)), EveryDays: uint32(1 + r.IntN(3)), //nolint:gosec // small
			},
		})
	}
	week := func(from, to uint32) *schedulingv1.RosterWeek {
		w := &schedulingv1.RosterWeek{}
		for weekday := range uint32(5) {
			w.Shifts = append(w.Shifts, &schedulingv1.Shift{Weekday: weekday + 1, FromMinute: from * 60, ToMinute: to * 60})
		}
		return w
	}
	return ask(boardLog, schedulingv1.SchedulingService_SetRoster_FullMethodName, &schedulingv1.SetRosterRequest{
		RequestId: id, Resource: person, Roster: &schedulingv1.Roster{From: on.Format(time.DateOnly), Weeks: []*schedulingv1.RosterWeek{week(6, 14), week(14, 22)}},
	})
}
