package scheduling

import (
	"fmt"
	"testing"
	"time"

	"ramprow/internal/platform/fault"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// Europe/Vienna changes its clocks on the last Sundays of March and October at 01:00 UTC (Directive 2000/84/EC):
// eight o'clock there is 07:00 UTC in winter and 06:00 UTC in summer, and that Sunday's shift follows.
func TestShiftsFollowTheWallClockOfTheSite(t *testing.T) {
	for _, c := range []struct {
		zone, now, start string
	}{
		{"", "2026-03-27T18:00:00Z", "2026-03-28T08:00:00Z"},
		{"Europe/Vienna", "2026-03-27T18:00:00Z", "2026-03-28T07:00:00Z"}, // the Saturday before
		{"Europe/Vienna", "2026-03-28T18:00:00Z", "2026-03-29T06:00:00Z"}, // the Sunday of 23 hours
		{"Europe/Vienna", "2026-10-23T18:00:00Z", "2026-10-24T06:00:00Z"},
		{"Europe/Vienna", "2026-10-24T18:00:00Z", "2026-10-25T07:00:00Z"}, // the Sunday of 25 hours
		{"America/New_York", "2026-10-24T22:00:00Z", "2026-10-25T12:00:00Z"},
		{"Asia/Kolkata", "2026-10-24T18:00:00Z", "2026-10-25T02:30:00Z"},
	} {
		t.Run(fmt.Sprint(c.zone, c.now), func(t *testing.T) {
			s := newShop(t)
			s.now = moment(t, c.now)
			s.set(bay("bays/one", "lift"))
			anna := person("people/anna", "engine")
			anna.Shifts = nil
			for day := range uint32(7) {
				anna.Shifts = append(anna.Shifts, &schedulingv1.Shift{Weekday: day + 1, FromMinute: 8 * 60, ToMinute: 17 * 60})
			}
			s.set(anna)
			if c.zone != "" {
				s.zone(c.zone)
			}
			s.book("jobs/1", time.Hour)
			if got := timeOf(s.booking("jobs/1").GetWhen().GetStart()); !got.Equal(moment(t, c.start)) {
				t.Errorf("begins at %v, want %s", got, c.start)
			}
		})
	}
}

// What no longer lies in a shift moves when the zone is set, and the consequence can be seen before.
func TestSettingTheZonePlansAnew(t *testing.T) {
	s := open(t)
	s.now = monday.Add(-2 * time.Hour)
	s.book("jobs/1", time.Hour)
	before := timeOf(s.booking("jobs/1").GetWhen().GetStart())
	req := &schedulingv1.SetZoneRequest{Zone: "America/New_York", ValidateOnly: true}
	events, shown, err := s.st.setZone(req, s.input())
	if err != nil || len(events) > 0 || len(shown.GetChanges()) != 1 {
		t.Fatalf("%v %v %v", events, shown, err)
	}
	s.zone("America/New_York")
	if got := timeOf(s.booking("jobs/1").GetWhen().GetStart()); !got.Equal(before.Add(5 * time.Hour)) {
		t.Errorf("begins at %v, and before the zone was set at %v", got, before)
	}
	if events, _, err := s.st.setZone(&schedulingv1.SetZoneRequest{Zone: "America/New_York"}, s.input()); err != nil || len(events) > 0 {
		t.Errorf("the same zone again gives %v, %v", events, err)
	}
	data, err := snapshot(s.st)()
	if err != nil {
		t.Fatal(err)
	}
	if back, err := restore("north", data); err != nil || back.zone.String() != "America/New_York" {
		t.Errorf("restored: %v %v", back, err)
	}
	for _, zone := range []string{"Local", "Europe/Nowhere"} {
		if _, _, err := s.st.setZone(&schedulingv1.SetZoneRequest{Zone: zone}, s.input()); fault.KindOf(err) != fault.Invalid {
			t.Errorf("%s: %v", zone, err)
		}
	}
}

func (s *shop) zone(name string) {
	s.t.Helper()
	events, _, err := s.st.setZone(&schedulingv1.SetZoneRequest{Zone: name}, s.input())
	if err != nil {
		s.t.Fatalf("zone %s: %v", name, err)
	}
	s.apply(events)
}

func moment(t *testing.T, text string) time.Time {
	t.Helper()
	at, err := time.Parse(time.RFC3339, text)
	if err != nil {
		t.Fatal(err)
	}
	return at
}
