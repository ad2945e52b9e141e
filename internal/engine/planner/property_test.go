package planner_test

import (
	"fmt"
	"testing"
	"time"

	"pgregory.net/rapid"

	"ramprow/internal/engine/planner"
	"ramprow/internal/engine/planner/check"
)

var monday = time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)

func drawCalendar(t *rapid.T, label string) planner.Calendar {
	var c planner.Calendar
	if rapid.Bool().Draw(t, label+" has shifts") {
		from := rapid.IntRange(6, 10).Draw(t, label+" from") * 60
		noon := rapid.IntRange(11, 13).Draw(t, label+" noon") * 60
		for day := time.Monday; day <= time.Friday; day++ {
			c.Shifts = append(c.Shifts, planner.Shift{Weekday: day, From: from, To: noon}, planner.Shift{Weekday: day, From: noon + 30, To: 17 * 60})
		}
	}
	for range rapid.IntRange(0, 2).Draw(t, label+" blocks") {
		start := monday.Add(time.Duration(rapid.IntRange(-5, 100).Draw(t, "block start")) * time.Hour)
		c.Blocks = append(c.Blocks, planner.Block{
			When: planner.Interval{Start: start, End: start.Add(time.Duration(rapid.IntRange(1, 20).Draw(t, "block hours")) * time.Hour)},
			Why:  "repair",
		})
	}
	if rapid.IntRange(0, 3).Draw(t, label+" has a roster") == 0 {
		c.Rosters = drawRosters(t)
	}
	for range rapid.IntRange(0, 1).Draw(t, label+" closed") {
		c.Closed = append(c.Closed, drawHours(t, "closed", 24))
	}
	for range rapid.IntRange(0, 1).Draw(t, label+" overtime") {
		c.Extra = append(c.Extra, drawHours(t, "overtime", 4))
	}
	return c
}

func drawHours(t *rapid.T, label string, most int) planner.Interval {
	start := monday.Add(time.Duration(rapid.IntRange(-8, 100).Draw(t, label+" start")) * time.Hour)
	return planner.Interval{Start: start, End: start.Add(time.Duration(rapid.IntRange(1, most).Draw(t, label+" hours")) * time.Hour)}
}

// drawRosters gives early and late weeks in turn from some days on.
func drawRosters(t *rapid.T) []planner.Roster {
	var all []planner.Roster
	for range rapid.IntRange(1, 2).Draw(t, "rosters") {
		r := planner.Roster{From: planner.DayOf(2026, 3, rapid.IntRange(-9, 6).Draw(t, "roster from"))}
		if rapid.Bool().Draw(t, "roster ends") {
			r.Until = r.From + planner.Day(rapid.IntRange(0, 20).Draw(t, "roster days"))
		}
		for week := range rapid.IntRange(1, 3).Draw(t, "weeks") {
			var shifts []planner.Shift
			for day := time.Monday; day <= time.Friday; day++ {
				shifts = append(shifts, planner.Shift{Weekday: day, From: (6 + 4*week) * 60, To: (12 + 4*week) * 60})
			}
			r.Weeks = append(r.Weeks, shifts)
		}
		all = append(all, r)
	}
	return all
}

func drawProblem(t *rapid.T) planner.Problem {
	p := planner.Problem{Now: monday.Add(time.Duration(rapid.IntRange(0, 600).Draw(t, "now")) * time.Minute), Grid: 5 * time.Minute, Grace: 15 * time.Minute}
	kinds := []string{"lift", "pit", "flat"}
	skills := []string{"engine", "refrigerant"}
	tools := []string{"lock", "puller"}
	for i := range rapid.IntRange(1, 4).Draw(t, "bays") {
		p.Bays = append(p.Bays, planner.Bay{Name: fmt.Sprintf("bays/%d", i), Kind: rapid.SampledFrom(kinds).Draw(t, "kind"), Calendar: drawCalendar(t, "bay")})
	}
	for i := range rapid.IntRange(1, 4).Draw(t, "people") {
		h := planner.Person{Name: fmt.Sprintf("people/%d", i), Calendar: drawCalendar(t, "person")}
		for _, s := range skills {
			if rapid.Bool().Draw(t, s) {
				sk := planner.Skill{Name: s}
				if rapid.Bool().Draw(t, "ends") {
					sk.Expires = monday.Add(time.Duration(rapid.IntRange(0, 200).Draw(t, "expires")) * time.Hour)
				}
				h.Skills = append(h.Skills, sk)
			}
		}
		p.People = append(p.People, h)
	}
	// Most pieces are alike, as most are; some are away at times of their own.
	usual := drawCalendar(t, "tools")
	for i := range rapid.IntRange(0, 6).Draw(t, "tools") {
		piece := planner.Tool{Name: fmt.Sprintf("tools/%d", i), Type: rapid.SampledFrom(tools).Draw(t, "type"), Calendar: usual}
		if rapid.IntRange(0, 2).Draw(t, "own times") == 0 {
			piece.Calendar = drawCalendar(t, "tool")
		}
		p.Tools = append(p.Tools, piece)
	}
	for i := range rapid.IntRange(1, 8).Draw(t, "jobs") {
		j := planner.Job{
			Name: fmt.Sprintf("jobs/%d", i), Effort: time.Duration(rapid.IntRange(10, 900).Draw(t, "effort")) * time.Minute,
			Priority: rapid.IntRange(0, 5).Draw(t, "priority"),
			Release:  monday.Add(time.Duration(rapid.IntRange(-10, 60).Draw(t, "release")) * time.Hour),
		}
		j.BayKinds = rapid.SliceOfNDistinct(rapid.SampledFrom(kinds), 0, 2, rapid.ID).Draw(t, "kinds")
		j.Skills = rapid.SliceOfNDistinct(rapid.SampledFrom(skills), 0, 1, rapid.ID).Draw(t, "skills")
		j.ToolTypes = rapid.SliceOfNDistinct(rapid.SampledFrom(tools), 0, 2, rapid.ID).Draw(t, "tools")
		if rapid.Bool().Draw(t, "due") {
			j.Due = monday.Add(time.Duration(rapid.IntRange(0, 80).Draw(t, "due h")) * time.Hour)
		}
		p.Jobs = append(p.Jobs, j)
	}
	return p
}

// disturb: what starts was under way at that moment in one plan, so no two started
// jobs can hold the same thing.
//
// It takes a plan as what is booked, lets time pass and something happen.
func disturb(t *rapid.T, p planner.Problem, plan planner.Plan) planner.Problem {
	later := p.Now.Add(time.Duration(rapid.IntRange(0, 300).Draw(t, "later")) * time.Minute)
	next := p
	next.Now = later
	next.Jobs = nil
	for _, j := range p.Jobs {
		j.Wish, j.Current, j.Started = nil, nil, nil
		for _, placed := range plan.Placements {
			if placed.Job != j.Name {
				continue
			}
			if !placed.When.Start.After(later) && placed.When.End.After(later) && rapid.Bool().Draw(t, "started") {
				j.Started = &planner.Started{
					At: placed.When.Start, Bay: placed.Bay, Person: placed.Person, Tools: placed.Tools, Since: later,
					Left: time.Duration(rapid.IntRange(0, 400).Draw(t, "left")) * time.Minute,
				}
				continue
			}
			j.Current = &planner.Current{Bay: placed.Bay, Person: placed.Person, Tools: placed.Tools, When: placed.When}
			j.Pinned = rapid.IntRange(0, 3).Draw(t, "pin") == 0
			if rapid.IntRange(0, 3).Draw(t, "wish") == 0 {
				j.Wish = &planner.Wish{Start: later.Truncate(time.Hour).Add(time.Duration(rapid.IntRange(0, 30).Draw(t, "wish h")) * time.Hour)}
				j.Pinned = false
			}
		}
		next.Jobs = append(next.Jobs, j)
	}
	person := rapid.IntRange(0, len(next.People)-1).Draw(t, "ill")
	next.People = append([]planner.Person(nil), p.People...)
	next.People[person].Calendar = drawCalendar(t, "ill person")
	return next
}

// TestEveryPlanIsPossible: whatever the problem and whatever happens next, the
// checker has nothing to say against the plan.
func TestEveryPlanIsPossible(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawProblem(t)
		for range 3 {
			plan, err := planner.Make(p)
			if err != nil {
				t.Fatal(err)
			}
			for _, v := range check.Plan(p, plan) {
				t.Error(v)
			}
			p = disturb(t, p, plan)
		}
	})
}
