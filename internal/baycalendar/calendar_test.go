package baycalendar

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/engine/icalendar"
	commonv1 "ramprow/proto/ramprow/common/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

func TestACalendarIsOfOneBayOrPerson(t *testing.T) {
	start := time.Date(2026, 7, 1, 8, 0, 0, 0, time.UTC)
	booking := func(job, who string, begun *timestamppb.Timestamp) *schedulingv1.Booking {
		return &schedulingv1.Booking{
			Name: "bookings/" + job, Job: "jobs/" + job, Title: "Timing chain", Technician: who, PlanRevision: 4, Reason: "first of all", StartedAt: begun,
			When: &commonv1.Interval{Start: timestamppb.New(start), End: timestamppb.New(start.Add(time.Hour))},
		}
	}
	board := []*schedulingv1.BoardLane{
		{Bay: &schedulingv1.Resource{Name: "bays/1", Title: "Bay 1"}, Bookings: []*schedulingv1.Booking{booking("1", "people/anna", timestamppb.New(start)), booking("2", "people/ben", nil)}},
		{Bay: &schedulingv1.Resource{Name: "bays/2", Title: "Pit"}, Bookings: []*schedulingv1.Booking{booking("3", "people/anna", nil)}},
	}
	for _, c := range []struct {
		bay, who, name string
		jobs           []string
	}{
		{"", "", "Bays", []string{"1", "2", "3"}},
		{"bays/2", "", "Pit", []string{"3"}},
		{"", "people/anna", "anna", []string{"1", "3"}},
		{"bays/9", "", "Bays", nil},
	} {
		got := Of(board, c.bay, c.who)
		var jobs []string
		for _, e := range got.Events {
			jobs = append(jobs, e.UID[len("bookings/"):len(e.UID)-len("@ramprow")])
		}
		if got.Name != c.name || !cmp.Equal(jobs, c.jobs) {
			t.Errorf("%+v: %q, %v", c, got.Name, jobs)
		}
	}
	want := icalendar.Event{
		UID: "bookings/1@ramprow", Sequence: 4, Start: start, End: start.Add(time.Hour), Summary: "Timing chain", Location: "Bay 1",
		Description: "Job 1\nWith anna\nfirst of all",
	}
	if diff := cmp.Diff(want, Of(board, "bays/1", "people/anna").Events[0]); diff != "" {
		t.Error(diff)
	}
}

func TestWhatComesAgainHasAnIdentityForEachTime(t *testing.T) {
	at := time.Date(2026, 7, 1, 8, 0, 0, 0, time.UTC)
	when := func(day int) *commonv1.Interval {
		return &commonv1.Interval{Start: timestamppb.New(at.AddDate(0, 0, day)), End: timestamppb.New(at.AddDate(0, 0, day).Add(time.Hour))}
	}
	got := Away(&schedulingv1.Resource{Name: "bays/1", Title: "Bay 1"}, []*schedulingv1.Block{
		{Id: "maintenance-1", When: when(0), Reason: "Lift inspection"}, {Id: "maintenance-1", When: when(7), Reason: "Lift inspection"}, {Id: "block-2", When: when(9)},
	})
	want := []icalendar.Event{
		{UID: "bays/1/maintenance-1/20260701T0800@ramprow", Start: at, End: at.Add(time.Hour), Summary: "Lift inspection", Location: "Bay 1"},
		{UID: "bays/1/maintenance-1/20260708T0800@ramprow", Start: at.AddDate(0, 0, 7), End: at.AddDate(0, 0, 7).Add(time.Hour), Summary: "Lift inspection", Location: "Bay 1"},
		{UID: "bays/1/block-2/20260710T0800@ramprow", Start: at.AddDate(0, 0, 9), End: at.AddDate(0, 0, 9).Add(time.Hour), Summary: "Away", Location: "Bay 1"},
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}
