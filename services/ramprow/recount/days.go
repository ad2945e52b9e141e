package recount

import (
	"slices"
	"strings"
	"time"

	commonv1 "ramprow/proto/ramprow/common/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

func within(at time.Time, when *commonv1.Interval) bool {
	return !at.Before(when.GetStart().AsTime()) && at.Before(when.GetEnd().AsTime())
}

// day is the date that a text means, in a zone.
func day(text string, zone *time.Location) time.Time {
	at, _ := time.ParseInLocation(time.DateOnly, text, zone) // scheduling takes no other
	return at
}

// roster gives the shifts of the week of the roster that holds on a day: of those valid the one that began last.
func roster(r *schedulingv1.Resource, at time.Time) ([]*schedulingv1.Shift, bool) {
	today := at.Format(time.DateOnly)
	var holds *schedulingv1.Roster
	for _, one := range r.GetRosters() {
		if one.GetFrom() <= today && (one.GetUntil() == "" || today <= one.GetUntil()) && (holds == nil || one.GetFrom() > holds.GetFrom()) {
			holds = one
		}
	}
	if holds == nil {
		return nil, false
	}
	// Weeks are counted at noon of UTC days, which are all as long.
	monday := func(text string) time.Time {
		noon := day(text, time.UTC).Add(12 * time.Hour)
		for noon.Weekday() != time.Monday {
			noon = noon.Add(-24 * time.Hour)
		}
		return noon
	}
	week := int(monday(today).Sub(monday(holds.GetFrom())) / (7 * 24 * time.Hour))
	return holds.GetWeeks()[week%len(holds.GetWeeks())].GetShifts(), true
}

// maintained tries every day from the first on.
func maintained(m *schedulingv1.Maintenance, at time.Time) bool {
	for d := day(m.GetFirst(), at.Location()); !d.After(at) && (m.GetUntil() == "" || d.Format(time.DateOnly) <= m.GetUntil()); d = d.AddDate(0, 0, int(m.GetEveryDays())) {
		begins := time.Date(d.Year(), d.Month(), d.Day(), 0, int(m.GetFromMinute()), 0, 0, d.Location())
		if !at.Before(begins) && at.Before(begins.Add(time.Duration(m.GetMinutes())*time.Minute)) {
			return true
		}
	}
	return false
}

// closes compares dates as text, a yearly one without its year.
func closes(c *schedulingv1.ClosedDay, r *schedulingv1.Resource, at time.Time) bool {
	kind := schedulingv1.ResourceKind_RESOURCE_KIND_PERSON
	if strings.HasPrefix(r.GetName(), "bays/") {
		kind = schedulingv1.ResourceKind_RESOURCE_KIND_BAY
	}
	if len(c.GetKinds()) > 0 && !slices.Contains(c.GetKinds(), kind) {
		return false
	}
	today, first, last := at.Format(time.DateOnly), c.GetFirst(), c.GetLast()
	if last == "" {
		last = first
	}
	if today < first {
		return false
	}
	if !c.GetYearly() {
		return today <= last
	}
	const year = len("2026-")
	today, first, last = today[year:], first[year:], last[year:]
	if first <= last {
		return first <= today && today <= last
	}
	return today >= first || today <= last // over New Year
}

// edges are the moments at which something opens or closes between two others, and some at which nothing does.
func (b *board) edges(from, to time.Time) []time.Time {
	zone, _ := b.site()
	var all []time.Time
	daily := func(minutes ...uint32) {
		for d := from.In(zone).AddDate(0, 0, -8); d.Before(to.AddDate(0, 0, 2)); d = d.AddDate(0, 0, 1) {
			for _, m := range minutes {
				all = append(all, time.Date(d.Year(), d.Month(), d.Day(), 0, int(m), 0, 0, zone))
			}
		}
	}
	shifts := func(list []*schedulingv1.Shift) {
		for _, s := range list {
			daily(s.GetFromMinute(), s.GetToMinute())
		}
	}
	of := func(r *schedulingv1.Resource) {
		shifts(r.GetShifts())
		for _, one := range r.GetRosters() {
			for _, week := range one.GetWeeks() {
				shifts(week.GetShifts())
			}
		}
		for _, one := range r.GetBlocks() {
			all = append(all, one.GetWhen().GetStart().AsTime(), one.GetWhen().GetEnd().AsTime())
		}
		for _, one := range r.GetOvertime() {
			all = append(all, one.GetWhen().GetStart().AsTime(), one.GetWhen().GetEnd().AsTime())
		}
		for _, one := range r.GetMaintenance() {
			daily(one.GetFromMinute())
			for d := day(one.GetFirst(), zone); d.Before(to); d = d.AddDate(0, 0, int(one.GetEveryDays())) {
				all = append(all, time.Date(d.Year(), d.Month(), d.Day(), 0, int(one.GetFromMinute()), 0, 0, zone).Add(time.Duration(one.GetMinutes())*time.Minute))
			}
		}
	}
	daily(0)
	for _, c := range b.changes {
		all = append(all, c.heard)
		if m, ok := c.event.(*schedulingv1.ResourceSet); ok {
			of(m.GetResource())
		} else {
			r := &schedulingv1.Resource{}
			change(r, c.event)
			of(r)
		}
	}
	return all
}
