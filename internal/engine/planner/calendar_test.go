package planner_test

import (
	"fmt"
	"testing"
	"time"

	"pgregory.net/rapid"

	"ramprow/internal/engine/planner"
)

// Two weeks in turn, early and late; between its days the roster holds, outside the shifts do.
func TestRosters(t *testing.T) {
	week := func(from, to int) (shifts []planner.Shift) {
		for day := time.Monday; day <= time.Friday; day++ {
			shifts = append(shifts, planner.Shift{Weekday: day, From: from * 60, To: to * 60})
		}
		return shifts
	}
	c := planner.Calendar{
		Shifts: week(8, 17),
		// 4 March 2026 is a Wednesday.
		Rosters: []planner.Roster{{From: planner.DayOf(2026, 3, 4), Until: planner.DayOf(2026, 3, 24), Weeks: [][]planner.Shift{week(6, 14), week(14, 22)}}},
	}
	for _, want := range []struct{ day, hours string }{
		{"2026-03-03", "08–17"}, // before it
		{"2026-03-04", "06–14"}, // its first day
		{"2026-03-08", ""},      // a Sunday
		{"2026-03-09", "14–22"}, // the second week begins on Monday
		{"2026-03-16", "06–14"}, // and the first again
		{"2026-03-24", "14–22"}, // its last day
		{"2026-03-25", "08–17"}, // after it
	} {
		if got := hoursOn(t, c, want.day); got != want.hours {
			t.Errorf("%s: open %s, want %s", want.day, got, want.hours)
		}
	}
	c.Shifts = nil
	if got := hoursOn(t, c, "2026-03-25"); got != "00–00" {
		t.Errorf("without shifts and after the roster it is open %s", got)
	}
	c.Rosters = append(c.Rosters, planner.Roster{From: planner.DayOf(2026, 3, 10), Weeks: [][]planner.Shift{week(9, 10)}})
	if got := hoursOn(t, c, "2026-03-16"); got != "09–10" {
		t.Errorf("the roster that began later gives %s", got)
	}
}

func TestOvertimeHoldsWhereItIsClosedAndBlocksHoldOverBoth(t *testing.T) {
	day := planner.Interval{Start: time.Date(2026, 3, 4, 0, 0, 0, 0, time.UTC), End: time.Date(2026, 3, 5, 0, 0, 0, 0, time.UTC)}
	at := func(from, to int) planner.Interval {
		return planner.Interval{Start: day.Start.Add(time.Duration(from) * time.Hour), End: day.Start.Add(time.Duration(to) * time.Hour)}
	}
	c := planner.Calendar{Closed: []planner.Interval{day}}
	for _, want := range []string{"", "09–12", "10–12"} {
		if got := hoursOn(t, c, "2026-03-04"); got != want {
			t.Errorf("%+v is open %q, want %q", c, got, want)
		}
		if c.Extra = []planner.Interval{at(9, 12)}; want != "" {
			c.Blocks = []planner.Block{{When: at(7, 10), Why: "ill"}}
		}
	}
}

func hoursOn(t *testing.T, c planner.Calendar, date string) string {
	t.Helper()
	day, err := time.Parse(time.DateOnly, date)
	if err != nil {
		t.Fatal(err)
	}
	text := ""
	for _, o := range c.Open(planner.Interval{Start: day, End: day.AddDate(0, 0, 1)}, time.UTC) {
		text += fmt.Sprintf("%s–%s", o.Start.Format("15"), o.End.Format("15"))
	}
	return text
}

// The weekday of a day is that of Go's own calendar, also before 1970.
func TestDaysHaveTheirWeekday(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		day := time.Date(1970, 1, 1+rapid.IntRange(-50_000, 50_000).Draw(t, "day"), 0, 0, 0, 0, time.UTC)
		shift := []planner.Shift{{Weekday: day.Weekday(), From: 60, To: 120}}
		y, m, d := day.Date()
		c := planner.Calendar{Rosters: []planner.Roster{{From: planner.DayOf(y, m, d), Weeks: [][]planner.Shift{shift, nil}}}}
		open := c.Open(planner.Interval{Start: day.AddDate(0, 0, -2), End: day.AddDate(0, 0, 20)}, time.UTC)
		// Before it everything is open; then its own day, and the same day a fortnight later.
		if len(open) != 3 || !open[1].Start.Equal(day.Add(time.Hour)) || !open[2].Start.Equal(day.AddDate(0, 0, 14).Add(time.Hour)) {
			t.Fatalf("%v: open %v", day, open)
		}
	})
}
