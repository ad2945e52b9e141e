package job

import (
	"maps"
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/engine/flow"
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

// noteHours keeps what scheduling tells of bays and people. Absences that are over are left out: what was noted before
// tells of them.
func (s *State) noteHours(m proto.Message, now time.Time) []proto.Message {
	var next *jobv1.ResourceHours
	switch m := m.(type) {
	case *schedulingv1.ResourceSet:
		next = hoursOf(m.GetResource())
	case *schedulingv1.ResourceBlocked:
		if next = proto.CloneOf(s.hours.now(m.GetResource())); next != nil {
			next.Absences = append(next.GetAbsences(), &jobv1.ResourceAbsence{Id: m.GetBlock().GetId(), When: m.GetBlock().GetWhen()})
		}
	case *schedulingv1.ResourceUnblocked:
		if next = proto.CloneOf(s.hours.now(m.GetResource())); next != nil {
			next.Absences = slices.DeleteFunc(next.GetAbsences(), func(a *jobv1.ResourceAbsence) bool { return a.GetId() == m.GetBlock() })
		}
	}
	if next == nil {
		return nil
	}
	next.Absences = slices.DeleteFunc(next.GetAbsences(), func(a *jobv1.ResourceAbsence) bool { return !a.GetWhen().GetEnd().AsTime().After(now) })
	if proto.Equal(next, s.hours.now(next.GetResource())) {
		return nil
	}
	return []proto.Message{&jobv1.HoursNoted{Hours: next}}
}

// hoursOf is what figures need of a resource; nil of a tool.
func hoursOf(r *schedulingv1.Resource) *jobv1.ResourceHours {
	if !strings.HasPrefix(r.GetName(), "bays/") && !strings.HasPrefix(r.GetName(), "people/") {
		return nil
	}
	h := &jobv1.ResourceHours{Resource: r.GetName(), Title: r.GetTitle(), Kind: r.GetType(), Retired: r.GetRetired()}
	for _, q := range r.GetSkills() {
		h.Skills = append(h.Skills, q.GetSkill())
	}
	for _, s := range r.GetShifts() {
		h.Shifts = append(h.Shifts, &jobv1.ResourceShift{Weekday: s.GetWeekday(), FromMinute: s.GetFromMinute(), ToMinute: s.GetToMinute()})
	}
	for _, b := range r.GetBlocks() {
		h.Absences = append(h.Absences, &jobv1.ResourceAbsence{Id: b.GetId(), When: b.GetWhen()})
	}
	return h
}

// resources are the bays and people as the engine takes them.
func (h hours) resources() []flow.Resource {
	var all []flow.Resource
	for _, name := range slices.Sorted(maps.Keys(h)) {
		r := flow.Resource{Name: name}
		for _, since := range h[name] {
			r.Versions = append(r.Versions, versionOf(since))
		}
		all = append(all, r)
	}
	return all
}

func versionOf(since hoursSince) flow.Version {
	h := since.Hours
	v := flow.Version{Since: since.At.UnixNano(), Title: h.GetTitle(), Kind: h.GetKind(), Skills: h.GetSkills(), Retired: h.GetRetired()}
	for _, s := range h.GetShifts() {
		v.Shifts = append(v.Shifts, flow.Shift{Weekday: s.GetWeekday(), FromMinute: s.GetFromMinute(), ToMinute: s.GetToMinute()})
	}
	for _, a := range h.GetAbsences() {
		v.Away = append(v.Away, flow.Span{From: a.GetWhen().GetStart().AsTime().UnixNano(), To: a.GetWhen().GetEnd().AsTime().UnixNano()})
	}
	return v
}
