package job

import (
	"cmp"
	"maps"
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/engine/flow"
	"ramprow/internal/workhours"
	commonv1 "ramprow/proto/ramprow/common/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// hoursKept is how many changes of one bay or person are remembered: the newest. What it was before the oldest of them
// is then taken to be as in the oldest.
const hoursKept = 50

// hours is when each bay and person could be used, by name, as it changed over time.
type hours map[string][]hoursSince

// hoursSince holds until the next one.
type hoursSince struct {
	At    time.Time
	Hours *jobv1.ResourceHours
}

// note never changes a list in place: snapshots share it.
func (h hours) note(m *jobv1.ResourceHours, at time.Time) {
	list := append(slices.Clip(h[m.GetResource()]), hoursSince{At: at, Hours: m})
	if len(list) > hoursKept {
		oldest := hoursSince{At: list[0].At, Hours: list[1].Hours}
		list = append([]hoursSince{oldest}, list[2:]...)
	}
	h[m.GetResource()] = list
}

func (h hours) now(resource string) *jobv1.ResourceHours {
	list := h[resource]
	if len(list) == 0 {
		return nil
	}
	return list[len(list)-1].Hours
}

// noteHours keeps what scheduling tells of bays and people. What is over is left out: what was noted before tells of it.
func (s *State) noteHours(m proto.Message, now time.Time) []proto.Message {
	next := s.changed(m)
	if next == nil {
		return nil
	}
	over := func(when *commonv1.Interval) bool { return !when.GetEnd().AsTime().After(now) }
	next.Absences = slices.DeleteFunc(next.GetAbsences(), func(a *jobv1.ResourceAbsence) bool { return over(a.GetWhen()) })
	next.Overtime = slices.DeleteFunc(next.GetOvertime(), func(o *schedulingv1.Overtime) bool { return over(o.GetWhen()) })
	if proto.Equal(next, s.hours.now(next.GetResource())) {
		return nil
	}
	return []proto.Message{&jobv1.HoursNoted{Hours: next}}
}

// changed is how a bay or person is after an event; nil if the event is of neither, or of one that nobody told of.
func (s *State) changed(m proto.Message) *jobv1.ResourceHours {
	if set, ok := m.(*schedulingv1.ResourceSet); ok {
		return hoursOf(set.GetResource())
	}
	named, ok := m.(interface{ GetResource() string })
	if !ok || s.hours.now(named.GetResource()) == nil {
		return nil
	}
	next := proto.CloneOf(s.hours.now(named.GetResource()))
	switch m := m.(type) {
	case *schedulingv1.ResourceBlocked:
		next.Absences = append(next.GetAbsences(), &jobv1.ResourceAbsence{Id: m.GetBlock().GetId(), When: m.GetBlock().GetWhen()})
	case *schedulingv1.ResourceUnblocked:
		next.Absences = slices.DeleteFunc(next.GetAbsences(), func(a *jobv1.ResourceAbsence) bool { return a.GetId() == m.GetBlock() })
	case *schedulingv1.RosterSet:
		next.Rosters = append(withoutRoster(next.GetRosters(), m.GetRoster().GetFrom()), m.GetRoster())
		slices.SortFunc(next.GetRosters(), func(a, b *schedulingv1.Roster) int { return cmp.Compare(a.GetFrom(), b.GetFrom()) })
	case *schedulingv1.RosterRemoved:
		next.Rosters = withoutRoster(next.GetRosters(), m.GetFrom())
	case *schedulingv1.OvertimePlanned:
		next.Overtime = append(next.GetOvertime(), silent(m.GetOvertime()))
	case *schedulingv1.OvertimeWithdrawn:
		next.Overtime = slices.DeleteFunc(next.GetOvertime(), func(o *schedulingv1.Overtime) bool { return o.GetId() == m.GetOvertime() })
	case *schedulingv1.MaintenancePlanned:
		next.Maintenance = append(next.GetMaintenance(), m.GetMaintenance())
	case *schedulingv1.MaintenanceEnded:
		next.Maintenance = slices.DeleteFunc(next.GetMaintenance(), func(one *schedulingv1.Maintenance) bool { return one.GetId() == m.GetMaintenance() })
	}
	return next
}

func withoutRoster(rosters []*schedulingv1.Roster, from string) []*schedulingv1.Roster {
	return slices.DeleteFunc(rosters, func(r *schedulingv1.Roster) bool { return r.GetFrom() == from })
}

// silent leaves out why, which may say something of a person.
func silent(o *schedulingv1.Overtime) *schedulingv1.Overtime {
	return &schedulingv1.Overtime{Id: o.GetId(), When: o.GetWhen()}
}

// hoursOf is what figures need of a resource; nil of a tool.
func hoursOf(r *schedulingv1.Resource) *jobv1.ResourceHours {
	if !isBay(r.GetName()) && !strings.HasPrefix(r.GetName(), "people/") {
		return nil
	}
	h := &jobv1.ResourceHours{
		Resource: r.GetName(), Title: r.GetTitle(), Kind: r.GetType(), Retired: r.GetRetired(),
		Rosters: slices.Clone(r.GetRosters()), Maintenance: slices.Clone(r.GetMaintenance()),
	}
	for _, q := range r.GetSkills() {
		h.Skills = append(h.Skills, q.GetSkill())
	}
	for _, s := range r.GetShifts() {
		h.Shifts = append(h.Shifts, &jobv1.ResourceShift{Weekday: s.GetWeekday(), FromMinute: s.GetFromMinute(), ToMinute: s.GetToMinute()})
	}
	for _, b := range r.GetBlocks() {
		h.Absences = append(h.Absences, &jobv1.ResourceAbsence{Id: b.GetId(), When: b.GetWhen()})
	}
	for _, o := range r.GetOvertime() {
		h.Overtime = append(h.Overtime, silent(o))
	}
	return h
}

func isBay(name string) bool { return strings.HasPrefix(name, "bays/") }

// resources are the bays and people of a site as the engine takes them.
func (h hours) resources(site workhours.Site) []flow.Resource {
	var all []flow.Resource
	for _, name := range slices.Sorted(maps.Keys(h)) {
		r := flow.Resource{Name: name}
		for _, since := range h[name] {
			r.Versions = append(r.Versions, versionOf(since, site))
		}
		all = append(all, r)
	}
	return all
}

func versionOf(since hoursSince, site workhours.Site) flow.Version {
	h, told := since.Hours, toldOf(since.Hours)
	return flow.Version{
		Since: since.At.UnixNano(), Title: h.GetTitle(), Kind: h.GetKind(), Skills: h.GetSkills(), Retired: h.GetRetired(),
		Open: func(within flow.Span) []flow.Span {
			var all []flow.Span
			for _, o := range site.Open(told, time.Unix(0, within.From), time.Unix(0, within.To)) {
				all = append(all, flow.Span{From: o.Start.UnixNano(), To: o.End.UnixNano()})
			}
			return all
		},
	}
}

// toldOf is a bay or person as scheduling told of it, as far as its hours go.
func toldOf(h *jobv1.ResourceHours) *schedulingv1.Resource {
	r := &schedulingv1.Resource{
		Name: h.GetResource(), Kind: schedulingv1.ResourceKind_RESOURCE_KIND_PERSON,
		Rosters: h.GetRosters(), Overtime: h.GetOvertime(), Maintenance: h.GetMaintenance(),
	}
	if isBay(h.GetResource()) {
		r.Kind = schedulingv1.ResourceKind_RESOURCE_KIND_BAY
	}
	for _, s := range h.GetShifts() {
		r.Shifts = append(r.Shifts, &schedulingv1.Shift{Weekday: s.GetWeekday(), FromMinute: s.GetFromMinute(), ToMinute: s.GetToMinute()})
	}
	for _, a := range h.GetAbsences() {
		r.Blocks = append(r.Blocks, &schedulingv1.Block{Id: a.GetId(), When: a.GetWhen()})
	}
	return r
}
