package scheduling

import (
	"cmp"
	"fmt"
	"slices"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/engine/planner"
	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	"ramprow/internal/workhours"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// mostEntries bounds each of a resource's rosters, overtime and maintenance.
const mostEntries = 100

// tooMany refuses what would make a list longer than can be kept.
func tooMany(resource, what, instead string) error {
	return fault.New(fault.Precondition, "TOO_MANY_ENTRIES", "%s has %d %s already; %s", resource, mostEntries, what, instead).With("resource", resource)
}

// setRoster lets a cycle of weeks hold instead of the shifts from a day on.
func (st *State) setRoster(req *schedulingv1.SetRosterRequest, in sitelog.Input) ([]proto.Message, *schedulingv1.SetRosterResponse, error) {
	r, ok := st.resources[req.GetResource()]
	if !ok {
		return nil, nil, noResource(req.GetResource())
	}
	roster := req.GetRoster()
	if err := checkRoster(roster); err != nil {
		return nil, nil, err
	}
	at := slices.IndexFunc(r.GetRosters(), func(old *schedulingv1.Roster) bool { return old.GetFrom() == roster.GetFrom() })
	switch {
	case at >= 0 && proto.Equal(r.GetRosters()[at], roster):
		return nil, &schedulingv1.SetRosterResponse{Resource: r}, nil
	case at < 0 && len(r.GetRosters()) >= mostEntries:
		return nil, nil, tooMany(r.GetName(), "rosters", "remove some that are over")
	}
	d := newDraft(st, in)
	d.add(&schedulingv1.RosterSet{Resource: r.GetName(), Roster: roster})
	out, err := d.replan(order{cause: fmt.Sprintf("%s has a new roster from %s", r.GetName(), roster.GetFrom())})
	resp := &schedulingv1.SetRosterResponse{Resource: d.state.resources[r.GetName()], Changes: out.changes}
	return d.unless(req.GetValidateOnly()), resp, err
}

func checkRoster(roster *schedulingv1.Roster) error {
	bad := fault.New(fault.Invalid, "ROSTER_INVALID", "the roster cannot be used as it is described")
	from, ok := workhours.ParseDay(roster.GetFrom())
	if !ok {
		bad = bad.WithField("roster.from", "must be a day as in 2026-03-09")
	}
	if until, ok := workhours.ParseLast(roster.GetUntil(), from); !ok || until < from {
		bad = bad.WithField("roster.until", "must be a day as in 2026-03-09, not before from")
	}
	for i, week := range roster.GetWeeks() {
		bad = checkShifts(bad, fmt.Sprintf("roster.weeks[%d].shifts", i), week.GetShifts())
	}
	if len(bad.Fields) > 0 {
		return bad
	}
	return nil
}

// removeRoster lets the shifts, or an earlier roster, hold again.
func (st *State) removeRoster(req *schedulingv1.RemoveRosterRequest, in sitelog.Input) ([]proto.Message, *schedulingv1.RemoveRosterResponse, error) {
	r, ok := st.resources[req.GetResource()]
	if !ok {
		return nil, nil, noResource(req.GetResource())
	}
	if !slices.ContainsFunc(r.GetRosters(), func(old *schedulingv1.Roster) bool { return old.GetFrom() == req.GetFrom() }) {
		return nil, nil, fault.New(fault.NotFound, "ROSTER_NOT_FOUND", "%s has no roster from %s; list the resources to see its rosters", r.GetName(), req.GetFrom()).
			About("Roster", r.GetName()+"/"+req.GetFrom())
	}
	d := newDraft(st, in)
	d.add(&schedulingv1.RosterRemoved{Resource: r.GetName(), From: req.GetFrom()})
	out, err := d.replan(order{cause: fmt.Sprintf("the roster of %s from %s was removed", r.GetName(), req.GetFrom())})
	resp := &schedulingv1.RemoveRosterResponse{Resource: d.state.resources[r.GetName()], Changes: out.changes}
	return d.unless(req.GetValidateOnly()), resp, err
}

// setRoster keeps a roster among the others by their first days. Those that were over before a day are dropped.
func setRoster(r *schedulingv1.Resource, roster *schedulingv1.Roster, before planner.Day) {
	r.Rosters = slices.DeleteFunc(r.GetRosters(), func(old *schedulingv1.Roster) bool {
		until, ends := workhours.ParseDay(old.GetUntil())
		return old.GetFrom() == roster.GetFrom() || ends && until < before
	})
	r.Rosters = append(r.Rosters, roster)
	slices.SortFunc(r.GetRosters(), func(a, b *schedulingv1.Roster) int { return cmp.Compare(a.GetFrom(), b.GetFrom()) })
}

func dropRoster(r *schedulingv1.Resource, from string) {
	r.Rosters = slices.DeleteFunc(r.GetRosters(), func(old *schedulingv1.Roster) bool { return old.GetFrom() == from })
}
