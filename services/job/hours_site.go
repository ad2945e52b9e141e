package job

import (
	"slices"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/workhours"
	jobv1 "ramprow/proto/ramprow/job/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// closedDaysKept bounds the closed days that figures remember: more than scheduling has, which forgets those that are
// over.
const closedDaysKept = 800

// noteSite keeps what scheduling tells of the whole site.
func (s *State) noteSite(m proto.Message) []proto.Message {
	next := &schedulingv1.SiteCalendar{}
	if s.site != nil {
		next = proto.CloneOf(s.site)
	}
	named := func(name string) func(*schedulingv1.ClosedDay) bool {
		return func(day *schedulingv1.ClosedDay) bool { return day.GetName() == name }
	}
	switch m := m.(type) {
	case *schedulingv1.ZoneSet:
		next.Zone = m.GetZone()
	case *schedulingv1.ClosedDaySet:
		next.ClosedDays = append(slices.DeleteFunc(next.GetClosedDays(), named(m.GetClosedDay().GetName())), m.GetClosedDay())
		slices.SortFunc(next.GetClosedDays(), workhours.CompareClosedDays)
		oldest := slices.IndexFunc(next.GetClosedDays(), func(day *schedulingv1.ClosedDay) bool { return !day.GetYearly() })
		if len(next.GetClosedDays()) > closedDaysKept && oldest >= 0 {
			next.ClosedDays = slices.Delete(next.GetClosedDays(), oldest, oldest+1)
		}
	case *schedulingv1.ClosedDayRemoved:
		next.ClosedDays = slices.DeleteFunc(next.GetClosedDays(), named(m.GetClosedDay()))
	}
	if proto.Equal(next, s.site) {
		return nil
	}
	return []proto.Message{&jobv1.SiteHoursNoted{Site: next}}
}
