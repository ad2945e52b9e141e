package workhours

import (
	"time"

	"ramprow/internal/engine/planner"
)

// ParseDay reads a date as in 2026-03-09; false: it is none.
func ParseDay(text string) (planner.Day, bool) {
	at, err := time.Parse(time.DateOnly, text)
	if err != nil {
		return 0, false
	}
	return planner.DayOf(at.Date()), true
}

// ParseLast reads the last of some days: the first if none is given.
func ParseLast(text string, first planner.Day) (planner.Day, bool) {
	if text == "" {
		return first, true
	}
	return ParseDay(text)
}

// DayAt is the day on the wall of a zone.
func DayAt(at time.Time, zone *time.Location) planner.Day { return planner.DayOf(at.In(zone).Date()) }

// WallTime is so many minutes on the wall clock after a day begins.
func WallTime(day planner.Day, minutes int, zone *time.Location) time.Time {
	return time.Date(1970, time.January, 1+int(day), 0, minutes, 0, 0, zone)
}

// DateText writes a day as in 2026-03-09.
func DateText(day planner.Day) string { return WallTime(day, 0, time.UTC).Format(time.DateOnly) }

// Whole is from the beginning of one day to the end of another.
func Whole(first, last planner.Day, zone *time.Location) planner.Interval {
	return planner.Interval{Start: WallTime(first, 0, zone), End: WallTime(last+1, 0, zone)}
}

// Overlap tells whether two times share a moment.
func Overlap(a, b planner.Interval) bool { return a.Start.Before(b.End) && b.Start.Before(a.End) }
