package workhours

import (
	"fmt"
	"slices"
	"strconv"
	"testing"
	"time"

	"pgregory.net/rapid"

	"ramprow/internal/engine/planner"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// The whole day is closed, whatever its length: the last Sundays of March and October have 23 and 25 hours in
// Vienna (Directive 2000/84/EC), others 24.
func TestClosedDaysAreDaysOfTheZone(t *testing.T) {
	s := Site{Zone: Zone("Europe/Vienna")}
	for day, hours := range map[string]int{"2026-03-29": 23, "2026-10-25": 25, "2026-10-26": 24} {
		at, err := time.Parse(time.DateOnly, day)
		if err != nil {
			t.Fatal(err)
		}
		times := s.closes(&schedulingv1.ClosedDay{First: day}, planner.Interval{Start: at.AddDate(0, 0, -9), End: at.AddDate(0, 0, 9)})
		if len(times) != 1 || times[0].End.Sub(times[0].Start) != time.Duration(hours)*time.Hour || times[0].Start.In(s.Zone).Format("2006-01-02 15:04") != day+" 00:00" {
			t.Errorf("%s: closed %v", day, times)
		}
	}
}

// Day by day, as one reads it off the wall: a date is closed if it lies between the two dates of some year.
func TestClosedDaysAgainstReadingEveryDate(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		st := Site{Zone: time.UTC}
		first := planner.DayOf(2024, 1, 1+rapid.IntRange(0, 800).Draw(t, "first"))
		last := first + planner.Day(rapid.IntRange(0, 20).Draw(t, "more"))
		c := &schedulingv1.ClosedDay{First: DateText(first), Last: DateText(last), Yearly: rapid.Bool().Draw(t, "yearly")}
		from := planner.DayOf(2024, 1, 1+rapid.IntRange(-400, 2200).Draw(t, "from"))
		within := Whole(from, from+100, st.Zone)
		times := st.closes(c, within)
		for day := from; day <= from+100; day++ {
			noon := WallTime(day, 12*60, st.Zone)
			got := slices.ContainsFunc(times, func(i planner.Interval) bool { return !noon.Before(i.Start) && noon.Before(i.End) })
			if want := closedByDates(c, DateText(day)); got != want {
				t.Fatalf("%v on %s: closed %v, want %v", c, DateText(day), got, want)
			}
		}
	})
}

// closedByDates compares dates as text: 29 February lies between 28 February and 1 March in every year.
func closedByDates(c *schedulingv1.ClosedDay, date string) bool {
	later := func(text string, years int) string {
		year, err := strconv.Atoi(text[:4])
		if err != nil {
			panic(err)
		}
		return fmt.Sprintf("%04d%s", year+years, text[4:])
	}
	for years := range 12 {
		if later(c.GetFirst(), years) <= date && date <= later(c.GetLast(), years) {
			return true
		}
		if !c.GetYearly() {
			break
		}
	}
	return false
}

// It keeps its time of day over changes of the clock, and every time is found from wherever one looks.
func TestMaintenanceAgainstWalkingEveryDay(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		st := Site{Zone: Zone(rapid.SampledFrom([]string{"UTC", "Europe/Vienna", "America/New_York"}).Draw(t, "zone"))}
		first := planner.DayOf(2026, 1, rapid.IntRange(1, 365).Draw(t, "first"))
		m := &schedulingv1.Maintenance{
			First: DateText(first), FromMinute: rapid.Uint32Range(3*60+1, 1439).Draw(t, "at"), // clocks change at two or three
			Minutes: rapid.Uint32Range(1, 10080).Draw(t, "takes"), EveryDays: rapid.Uint32Range(1, 40).Draw(t, "every"),
		}
		if rapid.Bool().Draw(t, "ends") {
			m.Until = DateText(first + planner.Day(rapid.IntRange(0, 400).Draw(t, "until")))
		}
		start := WallTime(planner.DayOf(2026, 1, rapid.IntRange(1, 700).Draw(t, "within")), 0, st.Zone)
		within := planner.Interval{Start: start, End: start.Add(time.Duration(rapid.IntRange(1, 2000).Draw(t, "hours")) * time.Hour)}
		var want []planner.Interval
		for n := 0; n < 1200; n++ {
			day := WallTime(first, 0, time.UTC).AddDate(0, 0, n)
			if n%int(m.GetEveryDays()) != 0 || m.GetUntil() != "" && day.Format(time.DateOnly) > m.GetUntil() {
				continue
			}
			begins := time.Date(day.Year(), day.Month(), day.Day(), int(m.GetFromMinute())/60, int(m.GetFromMinute())%60, 0, 0, st.Zone)
			ends := begins.Add(time.Duration(m.GetMinutes()) * time.Minute)
			if begins.Before(within.End) && ends.After(within.Start) {
				want = append(want, planner.Interval{Start: begins, End: ends})
			}
		}
		if got := st.comesAgain(m, within); !slices.Equal(got, want) {
			t.Fatalf("%v within %v:\ngot  %v\nwant %v", m, within, got, want)
		}
	})
}
