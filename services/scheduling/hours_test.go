package scheduling

import (
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/engine/planner"
	"ramprow/internal/platform/fault"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// must applies what was decided.
func (s *shop) must(events []proto.Message, err error) {
	s.t.Helper()
	if err != nil {
		s.t.Fatalf("refused: %v", err)
	}
	s.apply(events)
}

func (s *shop) overtime(who string, start time.Time, longer time.Duration) error {
	events, _, err := s.st.planOvertime(&schedulingv1.PlanOvertimeRequest{Resource: who, When: interval(start, start.Add(longer)), Reason: "much to do"}, s.input())
	if err == nil {
		s.apply(events)
	}
	return err
}

func TestOvertimeBringsWorkForwardAndIsTakenBack(t *testing.T) {
	s := open(t)
	s.book("jobs/1", 10*time.Hour)
	wantWhen(t, s.booking("jobs/1"), "bays/one", "Mon 08:00", "Tue 09:30")
	who := s.booking("jobs/1").GetTechnician()
	if err := s.overtime(who, monday.Add(9*time.Hour), 2*time.Hour); err != nil {
		t.Fatal(err)
	}
	wantWhen(t, s.booking("jobs/1"), "bays/one", "Mon 08:00", "Mon 18:30")
	if reason := s.booking("jobs/1").GetReason(); reason == "" {
		t.Error("it does not say why it lies there")
	}
	showOvertime(s.st.site(), []*schedulingv1.BoardLane{{Bookings: []*schedulingv1.Booking{s.booking("jobs/1")}}}, []*schedulingv1.Resource{s.st.resources[who]})
	if got := s.booking("jobs/1").GetOvertime().AsDuration(); got != 90*time.Minute {
		t.Errorf("%v of it in overtime, want 1h30m: from 17:00 to 18:30", got)
	}
	events, _, err := s.st.withdrawOvertime(&schedulingv1.WithdrawOvertimeRequest{Resource: who, Overtime: "overtime-1"}, s.input())
	s.must(events, err)
	wantWhen(t, s.booking("jobs/1"), "bays/one", "Mon 08:00", "Tue 09:30")
	_, _, err = s.st.withdrawOvertime(&schedulingv1.WithdrawOvertimeRequest{Resource: who, Overtime: "overtime-1"}, s.input())
	_ = wantFault(t, err, fault.NotFound, "OVERTIME_NOT_FOUND")
}

func TestOvertimeThatAddsNothingIsRefused(t *testing.T) {
	s := open(t)
	_ = wantFault(t, s.overtime("people/anna", monday.Add(time.Hour), time.Hour), fault.Precondition, "OVERTIME_ADDS_NOTHING")
	_ = wantFault(t, s.overtime("bays/one", monday.Add(20*time.Hour), time.Hour), fault.Precondition, "OVERTIME_ADDS_NOTHING")
	_ = wantFault(t, s.overtime("people/anna", monday.Add(-2*time.Hour), time.Hour), fault.Invalid, "OVERTIME_PAST")
	_ = wantFault(t, s.overtime("people/anna", monday.Add(9*time.Hour), 25*time.Hour), fault.Invalid, "OVERTIME_RANGE")
	_ = wantFault(t, s.overtime("people/zoe", monday.Add(9*time.Hour), time.Hour), fault.NotFound, "RESOURCE_NOT_FOUND")
	s.closes(closedDay("lantern", "2026-03-03", ""))
	if err := s.overtime("bays/one", monday.AddDate(0, 0, 1), time.Hour); err != nil {
		t.Errorf("on a closed day: %v", err)
	}
}

func TestARosterHoldsFromItsDayOn(t *testing.T) {
	s := open(t)
	s.book("jobs/1", 10*time.Hour)
	s.hear(began("jobs/1")) // so that nobody else can have it
	who := s.booking("jobs/1").GetTechnician()
	late := &schedulingv1.RosterWeek{Shifts: []*schedulingv1.Shift{{Weekday: 2, FromMinute: 14 * 60, ToMinute: 22 * 60}}}
	set := func(from, until string) ([]proto.Message, *schedulingv1.SetRosterResponse, error) {
		return s.st.setRoster(&schedulingv1.SetRosterRequest{Resource: who, Roster: &schedulingv1.Roster{From: from, Until: until, Weeks: []*schedulingv1.RosterWeek{late}}}, s.input())
	}
	events, resp, err := set("2026-03-03", "2026-03-15")
	s.must(events, err)
	wantWhen(t, s.booking("jobs/1"), "bays/one", "Mon 08:00", "Tue 15:30")
	if len(resp.GetChanges()) != 1 || len(resp.GetResource().GetRosters()) != 1 {
		t.Errorf("answered %v", resp)
	}
	if events, _, err := set("2026-03-03", "2026-03-15"); err != nil || len(events) > 0 {
		t.Errorf("the same again: %v %v", events, err)
	}
	_, _, err = set("2026-03-03", "2026-03-02")
	_ = wantFault(t, err, fault.Invalid, "ROSTER_INVALID")
	_, _, err = set("2026-02-31", "")
	_ = wantFault(t, err, fault.Invalid, "ROSTER_INVALID")
	// Whatever else of it is changed, the roster stays.
	changed := person(who, "engine")
	changed.Title = "Another name"
	s.set(changed)
	if len(s.st.resources[who].GetRosters()) != 1 {
		t.Error("a change of the resource took its roster away")
	}
	events, _, err = s.st.removeRoster(&schedulingv1.RemoveRosterRequest{Resource: who, From: "2026-03-03"}, s.input())
	s.must(events, err)
	wantWhen(t, s.booking("jobs/1"), "bays/one", "Mon 08:00", "Tue 09:30")
	_, _, err = s.st.removeRoster(&schedulingv1.RemoveRosterRequest{Resource: who, From: "2026-03-03"}, s.input())
	_ = wantFault(t, err, fault.NotFound, "ROSTER_NOT_FOUND")
}

func TestMaintenanceComesAgain(t *testing.T) {
	s := open(t)
	s.book("jobs/1", 10*time.Hour)
	plan := func(m *schedulingv1.Maintenance) ([]proto.Message, error) {
		events, _, err := s.st.planMaintenance(&schedulingv1.PlanMaintenanceRequest{Resource: "bays/one", Maintenance: m}, s.input())
		return events, err
	}
	lift := &schedulingv1.Maintenance{Title: "Lift inspection", First: "2026-03-03", FromMinute: 8 * 60, Minutes: 120, EveryDays: 14}
	s.must(plan(lift))
	// A car does not stand in a bay whose lift is looked at: it goes to the other one.
	wantWhen(t, s.booking("jobs/1"), "bays/two", "Mon 08:00", "Tue 09:30")
	for name, bad := range map[string]*schedulingv1.Maintenance{
		"id given":      {Id: "mine", Title: "x", First: "2026-03-03", Minutes: 10, EveryDays: 1},
		"no day":        {Title: "x", First: "2026-13-03", Minutes: 10, EveryDays: 1},
		"over before":   {Title: "x", First: "2026-02-03", Until: "2026-02-10", Minutes: 10, EveryDays: 1},
		"never to have": {Title: "x", First: "2026-03-03", Minutes: 1440, EveryDays: 1},
	} {
		if _, err := plan(bad); fault.ReasonOf(err) != "MAINTENANCE_INVALID" {
			t.Errorf("%s: %v", name, err)
		}
	}
	events, _, err := s.st.endMaintenance(&schedulingv1.EndMaintenanceRequest{Resource: "bays/one", Maintenance: "maintenance-1"}, s.input())
	s.must(events, err)
	_, _, err = s.st.endMaintenance(&schedulingv1.EndMaintenanceRequest{Resource: "bays/one", Maintenance: "maintenance-1"}, s.input())
	_ = wantFault(t, err, fault.NotFound, "MAINTENANCE_NOT_FOUND")
}

func TestBlocksHaveAKind(t *testing.T) {
	for _, c := range []struct {
		resource string
		kind     schedulingv1.BlockKind
		fits     bool
	}{
		{"people/anna", schedulingv1.BlockKind_BLOCK_KIND_ILLNESS, true},
		{"people/anna", schedulingv1.BlockKind_BLOCK_KIND_LEAVE, true},
		{"people/anna", schedulingv1.BlockKind_BLOCK_KIND_REPAIR, false},
		{"bays/one", schedulingv1.BlockKind_BLOCK_KIND_REPAIR, true},
		{"bays/one", schedulingv1.BlockKind_BLOCK_KIND_LEAVE, false},
		{"bays/one", schedulingv1.BlockKind_BLOCK_KIND_UNSPECIFIED, true},
		{"bays/one", schedulingv1.BlockKind_BLOCK_KIND_CLOSED_DAY, false},
	} {
		s := open(t)
		events, resp, err := s.st.blockResource(&schedulingv1.BlockResourceRequest{
			Resource: c.resource, When: interval(monday, monday.Add(time.Hour)), Reason: "x", Kind: c.kind,
		}, s.input())
		switch {
		case !c.fits:
			_ = wantFault(t, err, fault.Invalid, "BLOCK_KIND")
		case err != nil || len(events) == 0 || resp.GetResource().GetBlocks()[0].GetKind() != c.kind:
			t.Errorf("%v: %v %v", c, resp, err)
		}
	}
}

// A calendar program learns that somebody is away, but not why; of maintenance and closed days it learns all.
func TestProgramsAreNotToldWhyPeopleAreAway(t *testing.T) {
	s := open(t)
	events, _, err := s.st.blockResource(&schedulingv1.BlockResourceRequest{
		Resource: "people/anna", When: interval(monday, monday.Add(time.Hour)), Reason: "ill", Kind: schedulingv1.BlockKind_BLOCK_KIND_ILLNESS,
	}, s.input())
	s.must(events, err)
	s.closes(closedDay("lantern", "2026-03-03", ""))
	within := planner.Interval{Start: monday, End: monday.AddDate(0, 0, 7)}
	for _, program := range []bool{false, true} {
		away := absences(s.st.site().Away(s.st.resources["people/anna"], within), program)
		if len(away) != 2 || away[1].GetReason() != "Lantern Day" {
			t.Fatalf("away %v", away)
		}
		if told := strings.Contains(away[0].String(), "ill"); told == program {
			t.Errorf("program %v is told %v", program, away[0])
		}
	}
}
