// Package workhours turns what the site says of its bays, people and tools (shifts, rosters, overtime, maintenance,
// absences, closed days) into the times at which they can be used. Scheduling plans with them, and the owner's
// figures count them, so both mean the same hours.
package workhours

import (
	"cmp"
	"time"
	_ "time/tzdata" // the same log means the same hours on a machine without zone files

	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/engine/planner"
	commonv1 "ramprow/proto/ramprow/common/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// Site is what all resources of a site share.
type Site struct {
	// Zone is where shifts and days are read.
	Zone *time.Location
	// ClosedDays by name.
	ClosedDays map[string]*schedulingv1.ClosedDay
}

// SiteOf reads what scheduling tells of a site; nothing told: UTC, and never closed.
func SiteOf(m *schedulingv1.SiteCalendar) Site {
	s := Site{Zone: Zone(m.GetZone()), ClosedDays: map[string]*schedulingv1.ClosedDay{}}
	for _, day := range m.GetClosedDays() {
		s.ClosedDays[day.GetName()] = day
	}
	return s
}

// CompareClosedDays puts the one that begins first before the other.
func CompareClosedDays(a, b *schedulingv1.ClosedDay) int {
	return cmp.Or(cmp.Compare(a.GetFirst(), b.GetFirst()), cmp.Compare(a.GetName(), b.GetName()))
}

// Zone is the zone of a name of the IANA database; UTC if there is none of that name.
func Zone(name string) *time.Location {
	zone, err := time.LoadLocation(name)
	if err != nil {
		return time.UTC
	}
	return zone
}

// Open gives when a resource can be used from a moment to another, in order.
func (s Site) Open(r *schedulingv1.Resource, from, to time.Time) []planner.Interval {
	within := planner.Interval{Start: from, End: to}
	return s.Calendar(r, within).Open(within, s.Zone)
}

func span(i planner.Interval) *commonv1.Interval {
	return &commonv1.Interval{Start: timestamppb.New(i.Start), End: timestamppb.New(i.End)}
}
