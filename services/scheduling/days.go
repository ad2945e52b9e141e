package scheduling

import (
	"time"

	"ramprow/internal/engine/planner"
)

// dayOf reads a date as in 2026-03-09; false: it is none.
func dayOf(text string) (planner.Day, bool) {
	at, err := time.Parse(time.DateOnly, text)
	if err != nil {
		return 0, false
	}
	return planner.DayOf(at.Date()), true
}

// lastDay reads the last of some days: the first if none is given.
func lastDay(text string, first planner.Day) (planner.Day, bool) {
	if text == "" {
		return first, true
	}
	return dayOf(text)
}

// dayAt is the day on the wall of a zone.
func dayAt(at time.Time, zone *time.Location) planner.Day { return planner.DayOf(at.In(zone).Date()) }

// wallTime is so many minutes on the wall clock after a day begins.
func wallTime(day planner.Day, minutes int, zone *time.Location) time.Time {
	return time.Date(1970, time.January, 1+int(day), 0, minutes, 0, 0, zone)
}

func dateText(day planner.Day) string { return wallTime(day, 0, time.UTC).Format(time.DateOnly) }

// whole is from the beginning of one day to the end of another.
func whole(first, last planner.Day, zone *time.Location) planner.Interval {
	return planner.Interval{Start: wallTime(first, 0, zone), End: wallTime(last+1, 0, zone)}
}

func overlap(a, b planner.Interval) bool { return a.Start.Before(b.End) && b.Start.Before(a.End) }
