package workhours

import (
	"cmp"
	"slices"
	"time"

	"ramprow/internal/engine/planner"
	commonv1 "ramprow/proto/ramprow/common/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// Calendar is when a resource can be used, as far as a time reaches: what comes again and again is written out
// for it.
func (s Site) Calendar(r *schedulingv1.Resource, within planner.Interval) planner.Calendar {
	c := planner.Calendar{Shifts: shiftsOf(r.GetShifts())}
	for _, roster := range r.GetRosters() {
		from, ok := ParseDay(roster.GetFrom())
		if !ok || len(roster.GetWeeks()) == 0 {
			continue
		}
		cycle := planner.Roster{From: from}
		if until, ok := ParseDay(roster.GetUntil()); ok {
			cycle.Until = until
		}
		for _, week := range roster.GetWeeks() {
			cycle.Weeks = append(cycle.Weeks, shiftsOf(week.GetShifts()))
		}
		c.Rosters = append(c.Rosters, cycle)
	}
	for _, o := range r.GetOvertime() {
		c.Extra = append(c.Extra, IntervalOf(o.GetWhen()))
	}
	for _, away := range s.Away(r, within) {
		switch when := IntervalOf(away.GetWhen()); away.GetKind() {
		case schedulingv1.BlockKind_BLOCK_KIND_CLOSED_DAY:
			c.Closed = append(c.Closed, when)
		default:
			c.Blocks = append(c.Blocks, planner.Block{When: when, Why: away.GetReason()})
		}
	}
	return c
}

func shiftsOf(shifts []*schedulingv1.Shift) []planner.Shift {
	var all []planner.Shift
	for _, shift := range shifts {
		all = append(all, planner.Shift{Weekday: time.Weekday(shift.GetWeekday() % 7), From: int(shift.GetFromMinute()), To: int(shift.GetToMinute())})
	}
	return all
}

// IntervalOf is a message's interval as the engine has it.
func IntervalOf(i *commonv1.Interval) planner.Interval {
	return planner.Interval{Start: i.GetStart().AsTime(), End: i.GetEnd().AsTime()}
}

// Away lists when a resource is away within a time: its blocks, its maintenance and the site's closed days, by
// start. They are not cut at the ends.
func (s Site) Away(r *schedulingv1.Resource, within planner.Interval) []*schedulingv1.Block {
	var all []*schedulingv1.Block
	for _, b := range r.GetBlocks() {
		if Overlap(IntervalOf(b.GetWhen()), within) {
			all = append(all, b)
		}
	}
	for _, m := range r.GetMaintenance() {
		for _, when := range s.comesAgain(m, within) {
			all = append(all, &schedulingv1.Block{
				Id: m.GetId(), When: span(when), Reason: m.GetTitle(), Kind: schedulingv1.BlockKind_BLOCK_KIND_MAINTENANCE,
			})
		}
	}
	for _, day := range s.ClosedDays {
		if len(day.GetKinds()) > 0 && !slices.Contains(day.GetKinds(), r.GetKind()) {
			continue
		}
		for _, when := range s.closes(day, within) {
			all = append(all, &schedulingv1.Block{
				Id: day.GetName(), When: span(when), Reason: day.GetTitle(), Kind: schedulingv1.BlockKind_BLOCK_KIND_CLOSED_DAY,
			})
		}
	}
	slices.SortFunc(all, func(a, b *schedulingv1.Block) int {
		return cmp.Or(a.GetWhen().GetStart().AsTime().Compare(b.GetWhen().GetStart().AsTime()), cmp.Compare(a.GetId(), b.GetId()))
	})
	return all
}

// comesAgain gives each time of a maintenance that touches a time.
func (s Site) comesAgain(m *schedulingv1.Maintenance, within planner.Interval) []planner.Interval {
	day, ok := ParseDay(m.GetFirst())
	every := planner.Day(m.GetEveryDays())
	if !ok || every == 0 {
		return nil
	}
	until, ends := ParseDay(m.GetUntil())
	takes := time.Duration(m.GetMinutes()) * time.Minute
	// A day more, since the clock may change in between.
	if early := DayAt(within.Start.Add(-takes), s.Zone) - 1; early > day {
		day += (early - day) / every * every
	}
	var all []planner.Interval
	for ; !ends || day <= until; day += every {
		start := WallTime(day, int(m.GetFromMinute()), s.Zone)
		if !start.Before(within.End) {
			break
		}
		if when := (planner.Interval{Start: start, End: start.Add(takes)}); Overlap(when, within) {
			all = append(all, when)
		}
	}
	return all
}

// closes gives each time of a closed day that touches a time.
func (s Site) closes(c *schedulingv1.ClosedDay, within planner.Interval) []planner.Interval {
	first, ok := ParseDay(c.GetFirst())
	last, ok2 := ParseLast(c.GetLast(), first)
	if !ok || !ok2 {
		return nil
	}
	years := 0
	if c.GetYearly() {
		// The one that began in the year before may go on.
		years = max(0, within.Start.In(s.Zone).Year()-1-WallTime(first, 0, time.UTC).Year())
	}
	var all []planner.Interval
	for ; ; years++ {
		from, to := yearsLater(first, years, 1), yearsLater(last, years, -1)
		when := Whole(from, to, s.Zone)
		if from <= to && Overlap(when, within) {
			all = append(all, when)
		}
		if !c.GetYearly() || !when.Start.Before(within.End) {
			return all
		}
	}
}

// yearsLater is the same date some years later; where a year has no 29 February, the day after or before it.
func yearsLater(day planner.Day, years int, otherwise planner.Day) planner.Day {
	y, m, d := WallTime(day, 0, time.UTC).Date()
	later := time.Date(y+years, m, d, 0, 0, 0, 0, time.UTC)
	if later.Month() != m && otherwise < 0 { // it ran over into 1 March
		later = later.AddDate(0, 0, -1)
	}
	return planner.DayOf(later.Date())
}
