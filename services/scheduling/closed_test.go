package scheduling

import (
	"strings"
	"testing"
	"time"

	"ramprow/internal/engine/planner"
	"ramprow/internal/platform/fault"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

func closedDay(id, first, last string) *schedulingv1.ClosedDay {
	return &schedulingv1.ClosedDay{Name: "closed-days/" + id, Title: "Lantern Day", First: first, Last: last}
}

func (s *shop) closes(days ...*schedulingv1.ClosedDay) *schedulingv1.SetClosedDaysResponse {
	s.t.Helper()
	events, resp, err := s.st.setClosedDays(&schedulingv1.SetClosedDaysRequest{ClosedDays: days}, s.input())
	if err != nil {
		s.t.Fatalf("close: %v", err)
	}
	s.apply(events)
	return resp
}

// monday is 2 March 2026. Work pauses over a closed day as over a night, and what would begin on it moves.
func TestAClosedDayMovesWhatLiesThereAndKeepsTheCarInItsBay(t *testing.T) {
	s := open(t)
	s.book("jobs/1", 10*time.Hour)
	s.book("jobs/2", 10*time.Hour)
	s.hear(began("jobs/1"))
	s.hear(began("jobs/2"))
	wantWhen(t, s.booking("jobs/1"), "bays/one", "Mon 08:00", "Tue 09:30")
	s.book("jobs/3", time.Hour)
	wantWhen(t, s.booking("jobs/3"), "bays/one", "Tue 09:30", "Tue 10:30")

	resp := s.closes(closedDay("lantern", "2026-03-03", ""))
	wantWhen(t, s.booking("jobs/1"), "bays/one", "Mon 08:00", "Wed 09:30")
	wantWhen(t, s.booking("jobs/2"), "bays/two", "Mon 08:00", "Wed 09:30")
	wantWhen(t, s.booking("jobs/3"), "bays/one", "Wed 09:30", "Wed 10:30")
	if len(resp.GetChanges()) != 3 || !strings.Contains(s.last[1].(*schedulingv1.BookingMoved).GetReason(), "closed: Lantern Day") {
		t.Errorf("told %v, and wrote %v", resp.GetChanges(), s.last)
	}
	if again, _, err := s.st.setClosedDays(&schedulingv1.SetClosedDaysRequest{ClosedDays: []*schedulingv1.ClosedDay{closedDay("lantern", "2026-03-03", "")}}, s.input()); err != nil || len(again) > 0 {
		t.Errorf("the same day again gives %v, %v", again, err)
	}

	events, _, err := s.st.removeClosedDay(&schedulingv1.RemoveClosedDayRequest{Name: "closed-days/lantern"}, s.input())
	if err != nil {
		t.Fatal(err)
	}
	s.apply(events)
	wantWhen(t, s.booking("jobs/1"), "bays/one", "Mon 08:00", "Tue 09:30")
	_, _, err = s.st.removeClosedDay(&schedulingv1.RemoveClosedDayRequest{Name: "closed-days/lantern"}, s.input())
	_ = wantFault(t, err, fault.NotFound, "CLOSED_DAY_NOT_FOUND")
}

func TestAClosedDayDoesNotMovePinnedWorkUnasked(t *testing.T) {
	s := open(t)
	s.book("jobs/1", 2*time.Hour)
	req := move("jobs/1")
	req.Start, req.Pin = ts(monday.AddDate(0, 0, 1)), true
	events, _, err := s.st.moveBooking(req, s.input())
	if err != nil {
		t.Fatal(err)
	}
	s.apply(events)
	closing := &schedulingv1.SetClosedDaysRequest{ClosedDays: []*schedulingv1.ClosedDay{closedDay("lantern", "2026-03-03", "2026-03-04")}}
	_, _, err = s.st.setClosedDays(closing, s.input())
	if f := wantFault(t, err, fault.Precondition, "PINNED_WORK"); len(f.Unmet) != 1 || f.Unmet[0].Subject != "jobs/1" {
		t.Errorf("stands in the way: %v", f.Unmet)
	}
	closing.MovePinned = true
	events, resp, err := s.st.setClosedDays(closing, s.input())
	if err != nil || len(resp.GetChanges()) != 1 {
		t.Fatalf("%v %v", resp, err)
	}
	s.apply(events)
	if !s.booking("jobs/1").GetPinned() {
		t.Error("its pin is gone")
	}
	wantWhen(t, s.booking("jobs/1"), "bays/one", "Mon 08:00", "Mon 10:00")
}

func TestClosedDaysAreRefused(t *testing.T) {
	for name, c := range map[string]struct {
		days  []*schedulingv1.ClosedDay
		field string
	}{
		"no such day":     {[]*schedulingv1.ClosedDay{closedDay("a", "2026-02-30", "")}, "closed_days[0].first"},
		"backwards":       {[]*schedulingv1.ClosedDay{closedDay("a", "2026-03-03", "2026-03-02")}, "closed_days[0].last"},
		"longer than all": {[]*schedulingv1.ClosedDay{closedDay("a", "2026-03-03", "2027-03-02")}, "closed_days[0].last"},
		"twice":           {[]*schedulingv1.ClosedDay{closedDay("a", "2026-03-03", ""), closedDay("a", "2026-03-04", "")}, "closed_days[1].name"},
	} {
		_, _, err := open(t).st.setClosedDays(&schedulingv1.SetClosedDaysRequest{ClosedDays: c.days}, open(t).input())
		if f := wantFault(t, err, fault.Invalid, "CLOSED_DAY_INVALID"); len(f.Fields) == 0 || f.Fields[0].Path != c.field {
			t.Errorf("%s: %v", name, f.Fields)
		}
	}
}

// Which kinds of resource a day closes, and that of a site's closed days the old ones that do not come again go.
func TestClosedForSomeAndForgotten(t *testing.T) {
	s := open(t)
	people := closedDay("course", "2026-03-03", "")
	people.Kinds = []schedulingv1.ResourceKind{schedulingv1.ResourceKind_RESOURCE_KIND_PERSON}
	yearly := closedDay("founder", "2026-03-04", "")
	yearly.Yearly = true
	s.closes(people, yearly)
	within := planner.Interval{Start: monday, End: monday.AddDate(0, 0, 7)}
	if bays, persons := s.st.site().Away(s.st.resources["bays/one"], within), s.st.site().Away(s.st.resources["people/anna"], within); len(bays) != 1 || len(persons) != 2 {
		t.Errorf("bays are away %v, people %v", bays, persons)
	}
	s.now = monday.AddDate(0, 2, 0)
	s.closes(closedDay("next", "2026-06-01", ""))
	if all := s.st.siteCalendar().GetClosedDays(); len(all) != 2 || all[0].GetName() != "closed-days/founder" {
		t.Errorf("kept %v", all)
	}
}
