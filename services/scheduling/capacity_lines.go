package scheduling

import (
	"slices"
	"time"

	"google.golang.org/protobuf/types/known/durationpb"

	"ramprow/internal/engine/planner"
	"ramprow/internal/workhours"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// pool is resources of which any will do for the work that needs it: bays of some kinds, people with some skills, tools
// of a type.
type pool struct {
	kind  schedulingv1.ResourceKind
	types []string
	// members are its resources with until when they count; the zero time: to the end.
	members map[string]time.Time
}

// pools gives all bays, each kind and each choice of kinds that is asked for; all people, each skill and each set of
// skills that is asked for; and each type of tool.
func (l *lookAhead) pools() []pool {
	bays, skills, tools := groups{nil}, groups{nil}, groups{}
	for _, name := range l.names {
		switch r := l.st.resources[name]; r.GetKind() {
		case schedulingv1.ResourceKind_RESOURCE_KIND_BAY:
			bays.add(r.GetType())
		case schedulingv1.ResourceKind_RESOURCE_KIND_PERSON:
			for _, q := range r.GetSkills() {
				skills.add(q.GetSkill())
			}
		case schedulingv1.ResourceKind_RESOURCE_KIND_TOOL:
			tools.add(r.GetType())
		case schedulingv1.ResourceKind_RESOURCE_KIND_UNSPECIFIED:
		}
	}
	for _, u := range l.expected {
		bays.add(u.demand.GetBayKinds()...)
		skills.add(u.demand.GetSkills()...)
		for _, skill := range u.demand.GetSkills() {
			skills.add(skill)
		}
		for _, tool := range u.demand.GetTools() {
			tools.add(tool)
		}
	}
	var all []pool
	for _, of := range []struct {
		kind   schedulingv1.ResourceKind
		groups groups
	}{
		{schedulingv1.ResourceKind_RESOURCE_KIND_BAY, bays},
		{schedulingv1.ResourceKind_RESOURCE_KIND_PERSON, skills},
		{schedulingv1.ResourceKind_RESOURCE_KIND_TOOL, tools},
	} {
		for _, types := range of.groups.sorted() {
			all = append(all, l.pool(of.kind, types))
		}
	}
	return all
}

// groups are sets of types; the empty one stands for all.
type groups [][]string

func (g *groups) add(types ...string) {
	set := slices.Compact(slices.Sorted(slices.Values(types)))
	if len(set) > 0 && !slices.ContainsFunc(*g, func(old []string) bool { return slices.Equal(old, set) }) {
		*g = append(*g, set)
	}
}

// sorted puts all first, then single types, then choices of several.
func (g groups) sorted() groups {
	slices.SortFunc(g, func(a, b []string) int {
		if len(a) != len(b) {
			return len(a) - len(b)
		}
		return slices.Compare(a, b)
	})
	return g
}

func (l *lookAhead) pool(kind schedulingv1.ResourceKind, types []string) pool {
	p := pool{kind: kind, types: types, members: map[string]time.Time{}}
	for _, name := range l.names {
		r := l.st.resources[name]
		if r.GetKind() != kind {
			continue
		}
		if kind != schedulingv1.ResourceKind_RESOURCE_KIND_PERSON {
			if len(types) == 0 || slices.Contains(types, r.GetType()) {
				p.members[name] = time.Time{}
			}
			continue
		}
		if until, has := l.st.licensed(name, types); has && (until.IsZero() || until.After(l.within.Start)) {
			p.members[name] = until
		}
	}
	return p
}

// needs tells whether work must be done by the pool, and could not go elsewhere.
func (p pool) needs(d *schedulingv1.Demand) bool {
	within := func(some, all []string) bool {
		return !slices.ContainsFunc(some, func(one string) bool { return !slices.Contains(all, one) })
	}
	switch p.kind {
	case schedulingv1.ResourceKind_RESOURCE_KIND_BAY:
		return len(p.types) == 0 || len(d.GetBayKinds()) > 0 && within(d.GetBayKinds(), p.types)
	case schedulingv1.ResourceKind_RESOURCE_KIND_PERSON:
		return within(p.types, d.GetSkills())
	case schedulingv1.ResourceKind_RESOURCE_KIND_TOOL:
		return within(p.types, d.GetTools())
	case schedulingv1.ResourceKind_RESOURCE_KIND_UNSPECIFIED:
	}
	return false
}

// hours are the sums of one day.
type hours struct{ open, booked, expected, left time.Duration }

// line sums a pool up. A tool for which nothing is booked or expected has none.
func (l *lookAhead) line(p pool, byDay bool) *schedulingv1.CapacityLine {
	line := &schedulingv1.CapacityLine{Kind: p.kind, Types: p.types, Resources: uint32(len(p.members))} //nolint:gosec // far fewer
	var undated time.Duration
	for _, u := range l.expected {
		if u.undated && p.needs(u.demand) {
			undated += u.effort
		}
	}
	days := l.days(p)
	var all hours
	for _, d := range days {
		all.open, all.booked, all.expected = all.open+d.open, all.booked+d.booked, all.expected+d.expected
	}
	if p.kind == schedulingv1.ResourceKind_RESOURCE_KIND_TOOL && all.booked+all.expected+undated == 0 {
		return nil
	}
	if undated > 0 {
		line.Undated = durationpb.New(undated)
	}
	for i, d := range days {
		// On a day without hours nothing could be done, which says nothing, unless there are none at all.
		if line.GetRunsOver() == "" && d.left > 0 && (d.open > 0 || all.open == 0) {
			line.RunsOver = workhours.DateText(l.first + planner.Day(i))
		}
	}
	line.Spans = l.spans(days, byDay)
	return line
}

// days sums a pool up day by day. What has no hours on its day waits for the next.
func (l *lookAhead) days(p pool) []hours {
	days := make([]hours, l.last-l.first+1)
	for name, until := range p.members {
		counts := l.within
		if !until.IsZero() {
			counts.End = earlier(until, counts.End)
		}
		open := common(l.open[name], []planner.Interval{counts})
		booked := common(open, l.booked[name])
		for i := range days {
			day := []planner.Interval{workhours.Whole(l.first+planner.Day(i), l.first+planner.Day(i), l.st.zone)}
			days[i].open += length(common(open, day))
			days[i].booked += length(common(booked, day))
		}
	}
	for _, u := range l.expected {
		if !u.undated && p.needs(u.demand) {
			days[u.day-l.first].expected += u.effort
		}
	}
	var left time.Duration
	for i, d := range days {
		left = max(0, left+d.expected-(d.open-d.booked))
		days[i].left = left
	}
	return days
}

// spans joins days to weeks that end on Sunday, or leaves them as they are.
func (l *lookAhead) spans(days []hours, byDay bool) []*schedulingv1.CapacitySpan {
	var all []*schedulingv1.CapacitySpan
	first := 0
	var sum hours
	for i, d := range days {
		sum.open, sum.booked, sum.expected, sum.left = sum.open+d.open, sum.booked+d.booked, sum.expected+d.expected, d.left
		day := l.first + planner.Day(i)
		if !byDay && i+1 < len(days) && workhours.WallTime(day, 0, time.UTC).Weekday() != time.Sunday {
			continue
		}
		all = append(all, sum.span(workhours.DateText(l.first+planner.Day(first)), workhours.DateText(day)))
		first, sum = i+1, hours{}
	}
	return all
}

func (h hours) span(first, last string) *schedulingv1.CapacitySpan {
	s := &schedulingv1.CapacitySpan{
		First: first, Last: last, Open: durationpb.New(h.open), Booked: durationpb.New(h.booked),
		Expected: durationpb.New(h.expected), LeftOver: durationpb.New(h.left),
	}
	if h.open > 0 {
		s.Share = float64(h.booked+h.expected) / float64(h.open)
	}
	return s
}
