package scheduling

import (
	"cmp"
	"slices"
	"time"

	"ramprow/internal/engine/planner"
	commonv1 "ramprow/proto/ramprow/common/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// calendarOf is when a resource can be used, as far as a time reaches: what comes again and again is written out
// for it.
func (st *State) calendarOf(r *schedulingv1.Resource, within planner.Interval) planner.Calendar {
	c := planner.Calendar{Shifts: shiftsOf(r.GetShifts())}
	for _, roster := range r.GetRosters() {
		from, ok := dayOf(roster.GetFrom())
		if !ok || len(roster.GetWeeks()) == 0 {
			continue
		}
		cycle := planner.Roster{From: from}
		if until, ok := dayOf(roster.GetUntil()); ok {
			cycle.Until = until
		}
		for _, week := range roster.GetWeeks() {
			cycle.Weeks = append(cycle.Weeks, shiftsOf(week.GetShifts()))
		}
		c.Rosters = append(c.Rosters, cycle)
	}
	for _, o := range r.GetOvertime() {
		c.Extra = append(c.Extra, intervalOf(o.GetWhen()))
	}
	for _, away := range st.away(r, within) {
		switch when := intervalOf(away.GetWhen()); away.GetKind() {
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
	for _, s := range shifts {
		all = append(all, planner.Shift{Weekday: time.Weekday(s.GetWeekday() % 7), From: int(s.GetFromMinute()), To: int(s.GetToMinute())})
	}
	return all
}

func intervalOf(i *commonv1.Interval) planner.Interval {
	return planner.Interval{Start: timeOf(i.GetStart()), End: timeOf(i.GetEnd())}
}

// away lists when a resource is away within a time: its blocks, its maintenance and the site's closed days, by
// start. They are not cut at the ends.
func (st *State) away(r *schedulingv1.Resource, within planner.Interval) []*schedulingv1.Block {
	var all []*schedulingv1.Block
	for _, b := range r.GetBlocks() {
		if overlap(intervalOf(b.GetWhen()), within) {
			all = append(all, b)
		}
	}
	for _, m := range r.GetMaintenance() {
		for _, when := range st.comesAgain(m, within) {
			all = append(all, &schedulingv1.Block{
				Id: m.GetId(), When: interval(when.Start, when.End), Reason: m.GetTitle(), Kind: schedulingv1.BlockKind_BLOCK_KIND_MAINTENANCE,
			})
		}
	}
	for _, day := range st.closedDays {
		if len(day.GetKinds()) > 0 && !slices.Contains(day.GetKinds(), r.GetKind()) {
			continue
		}
		for _, when := range st.closes(day, within) {
			all = append(all, &schedulingv1.Block{
				Id: day.GetName(), When: interval(when.Start, when.End), Reason: day.GetTitle(), Kind: schedulingv1.BlockKind_BLOCK_KIND_CLOSED_DAY,
			})
		}
	}
	slices.SortFunc(all, func(a, b *schedulingv1.Block) int {
		return cmp.Or(timeOf(a.GetWhen().GetStart()).Compare(timeOf(b.GetWhen().GetStart())), cmp.Compare(a.GetId(), b.GetId()))
	})
	return all
}

// comesAgain gives each time of a maintenance that touches a time.
func (st *State) comesAgain(m *schedulingv1.Maintenance, within planner.Interval) []planner.Interval {
	day, ok := dayOf(m.GetFirst())
	every := planner.Day(m.GetEveryDays())
	if !ok || every == 0 {
		return nil
	}
	until, ends := dayOf(m.GetUntil())
	takes := time.Duration(m.GetMinutes()) * time.Minute
	// A day more, since the clock may change in between.
	if early := dayAt(within.Start.Add(-takes), st.zone) - 1; early > day {
		day += (early - day) / every * every
	}
	var all []planner.Interval
	for ; !ends || day <= until; day += every {
		start := wallTime(day, int(m.GetFromMinute()), st.zone)
		if !start.Before(within.End) {
			break
		}
		if when := (planner.Interval{Start: start, End: start.Add(takes)}); overlap(when, within) {
			all = append(all, when)
		}
	}
	return all
}

// closes gives each time of a closed day that touches a time.
func (st *State) closes(c *schedulingv1.ClosedDay, within planner.Interval) []planner.Interval {
	first, ok := dayOf(c.GetFirst())
	last, ok2 := lastDay(c.GetLast(), first)
	if !ok || !ok2 {
		return nil
	}
	years := 0
	if c.GetYearly() {
		// The one that began in the year before may go on.
		years = max(0, within.Start.In(st.zone).Year()-1-wallTime(first, 0, time.UTC).Year())
	}
	var all []planner.Interval
	for ; ; years++ {
		from, to := yearsLater(first, years, 1), yearsLater(last, years, -1)
		when := whole(from, to, st.zone)
		if from <= to && overlap(when, within) {
			all = append(all, when)
		}
		if !c.GetYearly() || !when.Start.Before(within.End) {
			return all
		}
	}
}

// yearsLater is the same date some years later; where a year has no 29 February, the day after or before it.
func yearsLater(day planner.Day, years int, otherwise planner.Day) planner.Day {
	y, m, d := wallTime(day, 0, time.UTC).Date()
	later := time.Date(y+years, m, d, 0, 0, 0, 0, time.UTC)
	if later.Month() != m && otherwise < 0 { // it ran over into 1 March
		later = later.AddDate(0, 0, -1)
	}
	return planner.DayOf(later.Date())
}
