package scheduling

import (
	"cmp"
	"context"
	"slices"
	"time"

	"google.golang.org/protobuf/types/known/durationpb"

	"ramprow/internal/engine/planner"
	"ramprow/internal/platform/command"
	"ramprow/internal/platform/fault"
	"ramprow/internal/workhours"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

const (
	// capacityWeeks is how far GetCapacity looks if nothing is said.
	capacityWeeks = 4
	// furthestCapacity is how many days ahead it may begin.
	furthestCapacity = 366
)

// GetCapacity implements the service.
func (s *Server) GetCapacity(ctx context.Context, req *schedulingv1.GetCapacityRequest) (*schedulingv1.GetCapacityResponse, error) {
	who, err := command.Caller(ctx)
	if err != nil {
		return nil, err
	}
	var st *State
	if _, err := s.runner.View(ctx, who.Site, func(state *State) error { st = state.fork(); return nil }); err != nil {
		return nil, err
	}
	return st.capacity(req, s.now())
}

func (st *State) capacity(req *schedulingv1.GetCapacityRequest, now time.Time) (*schedulingv1.GetCapacityResponse, error) {
	today := workhours.DayAt(now, st.zone)
	from := today
	if req.GetFrom() != "" {
		var ok bool
		if from, ok = workhours.ParseDay(req.GetFrom()); !ok || from < today || from > today+furthestCapacity {
			return nil, fault.New(fault.Invalid, "CAPACITY_RANGE", "the look ahead begins today or within a year").
				WithField("from", "must be a day as in 2026-03-09, not in the past and at most %d days ahead", furthestCapacity)
		}
	}
	l := st.lookAhead(from, lastOfWeeks(from, int(cmp.Or(req.GetWeeks(), capacityWeeks))), now)
	resp := &schedulingv1.GetCapacityResponse{Zone: st.zone.String(), Licences: l.licences()}
	for _, p := range l.pools() {
		if line := l.line(p, req.GetByDay()); line != nil {
			resp.Lines = append(resp.Lines, line)
		}
	}
	return resp, nil
}

// lastOfWeeks gives the Sunday of the last of so many weeks, the first being that in which a day lies.
func lastOfWeeks(from planner.Day, weeks int) planner.Day {
	weekday := int(workhours.WallTime(from, 0, time.UTC).Weekday())
	return from + planner.Day((7-weekday)%7+7*(weeks-1))
}

// lookAhead is what is known of some days.
type lookAhead struct {
	st          *State
	first, last planner.Day
	within      planner.Interval
	// open is when each resource is there, booked when it is taken, by name.
	open, booked map[string][]planner.Interval
	// names are of the resources in use.
	names    []string
	expected []unbooked
}

// unbooked is work without a booking.
type unbooked struct {
	demand *schedulingv1.Demand
	effort time.Duration
	// day is when it can begin; undated: nobody knows.
	day     planner.Day
	undated bool
}

func (st *State) lookAhead(first, last planner.Day, now time.Time) *lookAhead {
	l := &lookAhead{
		st: st, first: first, last: last, within: workhours.Whole(first, last, st.zone),
		open: map[string][]planner.Interval{}, booked: map[string][]planner.Interval{},
	}
	if l.within.Start.Before(now) {
		l.within.Start = now
	}
	l.opening()
	for _, job := range st.jobs() {
		switch w := st.open[job]; {
		case w.onBoard():
			l.take(w.booking)
		case w.demand.GetPlanRevision() > 0:
			l.expect(w.demand)
		}
	}
	for name, times := range l.booked {
		l.booked[name] = common(l.open[name], joined(times))
	}
	return l
}

// opening finds when everything is there. Bays and tools count while somebody is: a bay that can be used at any time
// has no more hours than those who work in it.
func (l *lookAhead) opening() {
	var somebody []planner.Interval
	for _, name := range l.st.resourceNames() {
		r := l.st.resources[name]
		if r.GetRetired() {
			continue
		}
		l.names = append(l.names, name)
		l.open[name] = l.st.site().Calendar(r, l.within).Open(l.within, l.st.zone)
		if r.GetKind() == schedulingv1.ResourceKind_RESOURCE_KIND_PERSON {
			somebody = append(somebody, l.open[name]...)
		}
	}
	somebody = joined(somebody)
	for _, name := range l.names {
		if l.st.resources[name].GetKind() != schedulingv1.ResourceKind_RESOURCE_KIND_PERSON {
			l.open[name] = common(l.open[name], somebody)
		}
	}
}

// take notes what a booking holds.
func (l *lookAhead) take(b *schedulingv1.Booking) {
	for _, name := range append([]string{b.GetBay(), b.GetTechnician()}, b.GetTools()...) {
		l.booked[name] = append(l.booked[name], workhours.IntervalOf(b.GetWhen()))
	}
}

// expect notes work that has no booking, if it can begin by the last day.
func (l *lookAhead) expect(d *schedulingv1.Demand) {
	release, _ := l.st.release(d)
	u := unbooked{demand: d, effort: effortOf(d.GetEffort()), undated: d.GetPartsMissing() != "", day: l.first}
	if release.After(l.within.Start) {
		u.day = workhours.DayAt(release, l.st.zone)
	}
	if u.undated || u.day <= l.last {
		l.expected = append(l.expected, u)
	}
}

// licences gives those that end in the time, by when.
func (l *lookAhead) licences() []*schedulingv1.LicenceEnd {
	var all []*schedulingv1.LicenceEnd
	for _, name := range l.names {
		for _, q := range l.st.resources[name].GetSkills() {
			ends := timeOf(q.GetExpires())
			if !ends.After(l.within.Start) || !ends.Before(l.within.End) {
				continue
			}
			after := planner.Interval{Start: ends, End: l.within.End}
			end := &schedulingv1.LicenceEnd{
				Person: name, Skill: q.GetSkill(), Expires: q.GetExpires(),
				Takes: durationpb.New(length(common(l.open[name], []planner.Interval{after}))),
			}
			for _, other := range l.names {
				if until, has := l.st.licensed(other, []string{q.GetSkill()}); other != name && has && (until.IsZero() || !until.Before(l.within.End)) {
					end.Others++
				}
			}
			all = append(all, end)
		}
	}
	slices.SortStableFunc(all, func(a, b *schedulingv1.LicenceEnd) int { return timeOf(a.GetExpires()).Compare(timeOf(b.GetExpires())) })
	return all
}

// licensed tells whether a person has all of some skills, and until when; the zero time: without end.
func (st *State) licensed(person string, skills []string) (until time.Time, has bool) {
	for _, skill := range skills {
		var ends time.Time
		found := false
		for _, q := range st.resources[person].GetSkills() {
			if at := timeOf(q.GetExpires()); q.GetSkill() == skill && (!found || at.IsZero() || !ends.IsZero() && at.After(ends)) {
				ends, found = at, true
			}
		}
		if !found {
			return time.Time{}, false
		}
		if !ends.IsZero() && (until.IsZero() || ends.Before(until)) {
			until = ends
		}
	}
	return until, true
}

// joined sorts times and joins those that touch.
func joined(times []planner.Interval) []planner.Interval {
	slices.SortFunc(times, func(a, b planner.Interval) int { return a.Start.Compare(b.Start) })
	var out []planner.Interval
	for _, t := range times {
		if last := len(out) - 1; last >= 0 && !t.Start.After(out[last].End) {
			if t.End.After(out[last].End) {
				out[last].End = t.End
			}
			continue
		}
		out = append(out, t)
	}
	return out
}

// common gives the times that are in both; each is sorted and apart.
func common(a, b []planner.Interval) []planner.Interval {
	var both []planner.Interval
	for i, j := 0, 0; i < len(a) && j < len(b); {
		t := planner.Interval{Start: a[i].Start, End: earlier(a[i].End, b[j].End)}
		if b[j].Start.After(t.Start) {
			t.Start = b[j].Start
		}
		if t.Start.Before(t.End) {
			both = append(both, t)
		}
		if a[i].End.Before(b[j].End) {
			i++
		} else {
			j++
		}
	}
	return both
}
