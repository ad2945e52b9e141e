package recount

import (
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"

	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// board is what scheduling's log says of bays and people, from the moment on at which the job service heard of it.
type board struct {
	changes []boardChange
}

type boardChange struct {
	heard time.Time
	event proto.Message
}

// told is a bay or a person at a moment, and whether it can be used then.
type told struct {
	*schedulingv1.Resource
	open bool
}

// resources are the bays and people as they were known at a moment.
func (b *board) resources(at time.Time) []told {
	known := map[string]*schedulingv1.Resource{}
	for _, c := range b.changes {
		if c.heard.After(at) {
			break
		}
		if m, ok := c.event.(*schedulingv1.ResourceSet); ok {
			if !strings.HasPrefix(m.GetResource().GetName(), "tools/") {
				known[m.GetResource().GetName()] = proto.CloneOf(m.GetResource())
			}
		} else if m, ok := c.event.(interface{ GetResource() string }); ok && known[m.GetResource()] != nil {
			change(known[m.GetResource()], m)
		}
	}
	zone, closed := b.site()
	var all []told
	for _, r := range known {
		if !r.GetRetired() {
			all = append(all, told{r, open(r, closed, at.In(zone))})
		}
	}
	return all
}

func change(r *schedulingv1.Resource, m any) {
	switch m := m.(type) {
	case *schedulingv1.ResourceBlocked:
		r.Blocks = append(r.GetBlocks(), m.GetBlock())
	case *schedulingv1.ResourceUnblocked:
		r.Blocks = slices.DeleteFunc(r.GetBlocks(), func(one *schedulingv1.Block) bool { return one.GetId() == m.GetBlock() })
	case *schedulingv1.RosterSet:
		change(r, &schedulingv1.RosterRemoved{From: m.GetRoster().GetFrom()})
		r.Rosters = append(r.GetRosters(), m.GetRoster())
	case *schedulingv1.RosterRemoved:
		r.Rosters = slices.DeleteFunc(r.GetRosters(), func(one *schedulingv1.Roster) bool { return one.GetFrom() == m.GetFrom() })
	case *schedulingv1.OvertimePlanned:
		r.Overtime = append(r.GetOvertime(), m.GetOvertime())
	case *schedulingv1.OvertimeWithdrawn:
		r.Overtime = slices.DeleteFunc(r.GetOvertime(), func(one *schedulingv1.Overtime) bool { return one.GetId() == m.GetOvertime() })
	case *schedulingv1.MaintenancePlanned:
		r.Maintenance = append(r.GetMaintenance(), m.GetMaintenance())
	case *schedulingv1.MaintenanceEnded:
		r.Maintenance = slices.DeleteFunc(r.GetMaintenance(), func(one *schedulingv1.Maintenance) bool { return one.GetId() == m.GetMaintenance() })
	}
}

// site is the zone and the closed days as they were told last: they are counted for all of the past.
func (b *board) site() (*time.Location, map[string]*schedulingv1.ClosedDay) {
	zone, closed := time.UTC, map[string]*schedulingv1.ClosedDay{}
	for _, c := range b.changes {
		switch m := c.event.(type) {
		case *schedulingv1.ZoneSet:
			zone, _ = time.LoadLocation(m.GetZone()) // scheduling takes no other
		case *schedulingv1.ClosedDaySet:
			closed[m.GetClosedDay().GetName()] = m.GetClosedDay()
		case *schedulingv1.ClosedDayRemoved:
			delete(closed, m.GetClosedDay())
		}
	}
	return zone, closed
}

// open tells whether a bay or person can be used at a moment on the site's clock.
func open(r *schedulingv1.Resource, closed map[string]*schedulingv1.ClosedDay, at time.Time) bool {
	for _, b := range r.GetBlocks() {
		if within(at, b.GetWhen()) {
			return false
		}
	}
	for _, m := range r.GetMaintenance() {
		if maintained(m, at) {
			return false
		}
	}
	for _, o := range r.GetOvertime() {
		if within(at, o.GetWhen()) {
			return true
		}
	}
	for _, day := range closed {
		if closes(day, r, at) {
			return false
		}
	}
	shifts, rostered := roster(r, at)
	if !rostered {
		shifts = r.GetShifts()
	}
	if !rostered && len(shifts) == 0 {
		return true
	}
	minute := uint32(at.Hour()*60 + at.Minute()) //nolint:gosec // of a day
	return slices.ContainsFunc(shifts, func(s *schedulingv1.Shift) bool {
		return int(s.GetWeekday())%7 == int(at.Weekday()) && minute >= s.GetFromMinute() && minute < s.GetToMinute()
	})
}
