package check

import (
	"slices"
	"time"

	"ramprow/internal/engine/planner"
)

// works: between opening and closing there is exactly the effort of working
// time, it begins with work, and it ends the moment the work is done.
func (c *checker) works(j planner.Job, placed planner.Placement) {
	calendars := c.calendars(placed)
	start, end := placed.When.Start, placed.When.End
	moments := c.changes(calendars, start, end)
	var worked time.Duration
	var first, last bool
	for i := 1; i < len(moments); i++ {
		from, to := moments[i-1], moments[i]
		there := c.allOpen(calendars, from.Add(to.Sub(from)/2))
		if there {
			worked += to.Sub(from)
		}
		if i == 1 {
			first = there
		}
		last = there
	}
	switch {
	case worked != j.Effort:
		c.wrong(j.Name, "has %v of working time for %v of work", worked, j.Effort)
	case j.Effort > 0 && !first:
		c.wrong(j.Name, "opens at %v, when nobody works", start)
	case j.Effort > 0 && !last:
		c.wrong(j.Name, "is closed at %v, later than its work is done", end)
	}
}

func (c *checker) calendars(placed planner.Placement) []planner.Calendar {
	var all []planner.Calendar
	if bay, ok := c.bay(placed.Bay); ok {
		all = append(all, bay.Calendar)
	}
	if person, ok := c.person(placed.Person); ok {
		all = append(all, person.Calendar)
	}
	for _, name := range placed.Tools {
		if tool, ok := c.tool(name); ok {
			all = append(all, tool.Calendar)
		}
	}
	return all
}

// changes gives start, end and every moment between at which a calendar may change.
func (c *checker) changes(calendars []planner.Calendar, start, end time.Time) []time.Time {
	moments := []time.Time{start, end}
	note := func(t time.Time) {
		if t.After(start) && t.Before(end) {
			moments = append(moments, t)
		}
	}
	y, m, d := start.In(c.zone).Date()
	for _, cal := range calendars {
		for _, b := range cal.Blocks {
			note(b.When.Start)
			note(b.When.End)
		}
		for _, e := range cal.Extra {
			note(e.Start)
			note(e.End)
		}
		for _, e := range cal.Closed {
			note(e.Start)
			note(e.End)
		}
		for n := -1; !time.Date(y, m, d+n, 0, 0, 0, 0, c.zone).After(end); n++ {
			note(time.Date(y, m, d+n, 0, 0, 0, 0, c.zone)) // a roster may begin or end
			for _, s := range allShifts(cal) {
				note(time.Date(y, m, d+n, 0, s.From, 0, 0, c.zone))
				note(time.Date(y, m, d+n, 0, s.To, 0, 0, c.zone))
			}
		}
	}
	slices.SortFunc(moments, time.Time.Compare)
	return moments
}

func (c *checker) allOpen(calendars []planner.Calendar, t time.Time) bool {
	for _, cal := range calendars {
		if !c.open(cal, t) {
			return false
		}
	}
	return true
}

func allShifts(cal planner.Calendar) []planner.Shift {
	all := slices.Clone(cal.Shifts)
	for _, r := range cal.Rosters {
		for _, week := range r.Weeks {
			all = append(all, week...)
		}
	}
	return all
}

// open reads the clock on the wall.
func (c *checker) open(cal planner.Calendar, t time.Time) bool {
	for _, b := range cal.Blocks {
		if !t.Before(b.When.Start) && t.Before(b.When.End) {
			return false
		}
	}
	in := func(e planner.Interval) bool { return !t.Before(e.Start) && t.Before(e.End) }
	if slices.ContainsFunc(cal.Extra, in) {
		return true
	}
	if slices.ContainsFunc(cal.Closed, in) {
		return false
	}
	wall := t.In(c.zone)
	shifts, always := shiftsAt(cal, wall)
	if always {
		return true
	}
	minute := wall.Hour()*60 + wall.Minute()
	for _, s := range shifts {
		if s.Weekday == wall.Weekday() && s.From <= minute && minute < s.To {
			return true
		}
	}
	return false
}

// shiftsAt gives the shifts of a day's week: of the roster that began last, or the ordinary ones.
func shiftsAt(cal planner.Calendar, wall time.Time) (shifts []planner.Shift, always bool) {
	today := dateOnly(wall)
	shifts, always = cal.Shifts, len(cal.Shifts) == 0
	var began time.Time
	for _, r := range cal.Rosters {
		from, until := dateOf(r.From), dateOf(r.Until)
		if today.Before(from) || r.Until != 0 && today.After(until) || from.Before(began) {
			continue
		}
		// Weeks are counted one Monday after the other.
		week := 0
		for monday := from.AddDate(0, 0, 1); !monday.After(today); monday = monday.AddDate(0, 0, 1) {
			if monday.Weekday() == time.Monday {
				week++
			}
		}
		shifts, always, began = r.Weeks[week%len(r.Weeks)], false, from
	}
	return shifts, always
}

func dateOnly(wall time.Time) time.Time {
	y, m, d := wall.Date()
	return time.Date(y, m, d, 0, 0, 0, 0, time.UTC)
}

func dateOf(d planner.Day) time.Time { return time.Date(1970, 1, 1+int(d), 0, 0, 0, 0, time.UTC) }

func (c *checker) bay(name string) (planner.Bay, bool) {
	i := slices.IndexFunc(c.problem.Bays, func(b planner.Bay) bool { return b.Name == name })
	if i < 0 {
		return planner.Bay{}, false
	}
	return c.problem.Bays[i], true
}

func (c *checker) person(name string) (planner.Person, bool) {
	i := slices.IndexFunc(c.problem.People, func(h planner.Person) bool { return h.Name == name })
	if i < 0 {
		return planner.Person{}, false
	}
	return c.problem.People[i], true
}

func (c *checker) tool(name string) (planner.Tool, bool) {
	i := slices.IndexFunc(c.problem.Tools, func(t planner.Tool) bool { return t.Name == name })
	if i < 0 {
		return planner.Tool{}, false
	}
	return c.problem.Tools[i], true
}
