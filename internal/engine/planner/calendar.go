package planner

import (
	"slices"
	"time"
)

// open gives the times within the range at which a calendar lets work go on.
// Shifts are read on the wall clock of the zone, so a day on which the clock
// changes is an hour longer or shorter between the same two readings.
func (c Calendar) open(within span, zone *time.Location) *windows {
	base := []span{within}
	if len(c.Shifts) > 0 || len(c.Rosters) > 0 {
		base = c.shiftSpans(within, zone)
	}
	if len(c.Closed) > 0 {
		base = subtract(base, c.closedSpans())
	}
	if len(c.Extra) > 0 {
		base = merge(append(base, c.extraSpans(within)...))
	}
	return newWindows(subtract(base, c.blocked()))
}

func (c Calendar) shiftSpans(within span, zone *time.Location) []span {
	var spans []span
	// Days are walked at noon, which exists on every day of every zone.
	y, m, d := within.start.time(zone).Date()
	last := within.end.time(zone).AddDate(0, 0, 1)
	for day := time.Date(y, m, d-1, 12, 0, 0, 0, zone); day.Before(last); day = day.AddDate(0, 0, 1) {
		y, m, d := day.Date()
		for _, s := range c.shiftsOn(DayOf(y, m, d)) {
			if s.Weekday != day.Weekday() {
				continue
			}
			shift := span{
				at(time.Date(y, m, d, 0, s.From, 0, 0, zone)),
				at(time.Date(y, m, d, 0, s.To, 0, 0, zone)),
			}
			spans = append(spans, span{max(shift.start, within.start), min(shift.end, within.end)})
		}
	}
	return merge(spans)
}

// dayMinutes is a day on the wall clock.
const dayMinutes = 24 * 60

// shiftsOn gives the shifts of the week that holds on a day.
func (c Calendar) shiftsOn(day Day) []Shift {
	var holds *Roster
	for i, r := range c.Rosters {
		if r.From <= day && (r.Until == 0 || day <= r.Until) && (holds == nil || holds.From <= r.From) {
			holds = &c.Rosters[i]
		}
	}
	switch {
	case holds != nil && len(holds.Weeks) > 0:
		return holds.Weeks[int(day.monday()-holds.From.monday())/7%len(holds.Weeks)]
	case holds == nil && len(c.Shifts) > 0:
		return c.Shifts
	case holds == nil: // beside a roster, no shifts still mean always
		return []Shift{{Weekday: day.weekday(), From: 0, To: dayMinutes}}
	}
	return nil
}

// weekday of a day: 1 January 1970 was a Thursday (ISO 8601 calendar).
func (d Day) weekday() time.Weekday { return time.Weekday(((int(d)+int(time.Thursday))%7 + 7) % 7) }

// monday is the first day of the week in which a day lies.
func (d Day) monday() Day { return d - Day((d.weekday()+6)%7) }

// closedSpans gives when it is closed, joined.
func (c Calendar) closedSpans() []span {
	spans := make([]span, 0, len(c.Closed))
	for _, away := range c.Closed {
		spans = append(spans, spanOf(away))
	}
	return merge(spans)
}

// extraSpans gives the overtime that lies within a range.
func (c Calendar) extraSpans(within span) []span {
	var spans []span
	for _, e := range c.Extra {
		s := spanOf(e)
		spans = append(spans, span{max(s.start, within.start), min(s.end, within.end)})
	}
	return spans
}

// Open gives the times within a range at which the calendar lets work go on, sorted
// and apart, with shifts read on the wall clock of the zone (nil: UTC).
func (c Calendar) Open(within Interval, zone *time.Location) []Interval {
	if zone == nil {
		zone = time.UTC
	}
	var open []Interval
	for _, s := range c.open(spanOf(within), zone).spans {
		open = append(open, s.interval(zone))
	}
	return open
}

// blocked gives the blocks, joined.
func (c Calendar) blocked() []span {
	spans := make([]span, 0, len(c.Blocks))
	for _, b := range c.Blocks {
		spans = append(spans, spanOf(b.When))
	}
	return merge(spans)
}

func (c Calendar) equal(o Calendar) bool {
	return c.SameTimes(o) && slices.EqualFunc(c.Blocks, o.Blocks, func(a, b Block) bool { return a.Why == b.Why })
}

// SameTimes tells whether two calendars are written alike, whatever their blocks are for.
func (c Calendar) SameTimes(o Calendar) bool {
	sameTime := func(a, b Interval) bool { return a.Start.Equal(b.Start) && a.End.Equal(b.End) }
	return slices.Equal(c.Shifts, o.Shifts) && slices.EqualFunc(c.Rosters, o.Rosters, sameRoster) &&
		slices.EqualFunc(c.Closed, o.Closed, sameTime) && slices.EqualFunc(c.Extra, o.Extra, sameTime) &&
		slices.EqualFunc(c.Blocks, o.Blocks, func(a, b Block) bool { return sameTime(a.When, b.When) })
}

func sameRoster(a, b Roster) bool {
	return a.From == b.From && a.Until == b.Until && slices.EqualFunc(a.Weeks, b.Weeks, slices.Equal[[]Shift])
}
