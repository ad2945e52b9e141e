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
	if len(c.Shifts) > 0 {
		base = merge(append(c.shiftSpans(within, zone), c.extraSpans(within)...))
	}
	return newWindows(subtract(base, c.blocked()))
}

func (c Calendar) shiftSpans(within span, zone *time.Location) []span {
	var spans []span
	// Days are walked at noon, which exists on every day of every zone.
	y, m, d := within.start.time(zone).Date()
	last := within.end.time(zone).AddDate(0, 0, 1)
	for day := time.Date(y, m, d-1, 12, 0, 0, 0, zone); day.Before(last); day = day.AddDate(0, 0, 1) {
		for _, s := range c.Shifts {
			if s.Weekday != day.Weekday() {
				continue
			}
			y, m, d := day.Date()
			shift := span{
				at(time.Date(y, m, d, 0, s.From, 0, 0, zone)),
				at(time.Date(y, m, d, 0, s.To, 0, 0, zone)),
			}
			spans = append(spans, span{max(shift.start, within.start), min(shift.end, within.end)})
		}
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
	sameTime := func(a, b Interval) bool { return a.Start.Equal(b.Start) && a.End.Equal(b.End) }
	return slices.Equal(c.Shifts, o.Shifts) && slices.EqualFunc(c.Extra, o.Extra, sameTime) && slices.EqualFunc(c.Blocks, o.Blocks, func(a, b Block) bool {
		return a.Why == b.Why && sameTime(a.When, b.When)
	})
}
