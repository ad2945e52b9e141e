package check_test

import (
	"strings"
	"testing"
	"time"

	"ramprow/internal/engine/planner"
	"ramprow/internal/engine/planner/check"
)

var monday = time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)

func hours(from, to int) planner.Interval {
	return planner.Interval{Start: monday.Add(time.Duration(from) * time.Hour), End: monday.Add(time.Duration(to) * time.Hour)}
}

// possible is a plan made by hand that nothing can be said against.
func possible() (planner.Problem, planner.Plan) {
	p := planner.Problem{
		Now:  monday,
		Bays: []planner.Bay{{Name: "bays/one", Kind: "lift"}, {Name: "bays/pit", Kind: "pit", Calendar: planner.Calendar{Blocks: []planner.Block{{When: hours(4, 6), Why: "repair"}}}}},
		People: []planner.Person{
			{
				Name: "people/anna", Skills: []planner.Skill{{Name: "engine", Expires: monday.Add(48 * time.Hour)}},
				Calendar: planner.Calendar{Shifts: []planner.Shift{{Weekday: time.Monday, From: 8 * 60, To: 17 * 60}, {Weekday: time.Tuesday, From: 8 * 60, To: 17 * 60}}},
			},
			{Name: "people/ben"},
		},
		Tools: []planner.Tool{{Name: "tools/a", Type: "lock"}},
		Jobs: []planner.Job{
			{Name: "jobs/1", Effort: 10 * time.Hour, BayKinds: []string{"lift"}, Skills: []string{"engine"}, ToolTypes: []string{"lock"}},
			{Name: "jobs/2", Effort: 2 * time.Hour, Release: monday.Add(time.Hour)},
			{Name: "jobs/3", Started: &planner.Started{At: monday.Add(-time.Hour), Bay: "bays/pit", Person: "people/ben"}},
		},
	}
	return p, planner.Plan{Placements: []planner.Placement{
		{Job: "jobs/1", Bay: "bays/one", Person: "people/anna", Tools: []string{"tools/a"}, When: hours(0, 25), Why: "first"},
		{Job: "jobs/2", Bay: "bays/pit", Person: "people/ben", When: hours(2, 4), Why: "second"},
		{Job: "jobs/3", Bay: "bays/pit", Person: "people/ben", When: hours(-1, 1), Kept: true},
	}}
}

// TestEveryFaultIsFound plants one fault at a time in a plan that is possible.
func TestEveryFaultIsFound(t *testing.T) {
	p, plan := possible()
	if found := check.Plan(p, plan); len(found) > 0 {
		t.Fatalf("a possible plan is refused: %v", found)
	}
	for name, c := range map[string]struct {
		plant func(*planner.Problem, *planner.Plan)
		words string
	}{
		"forgotten": {func(_ *planner.Problem, q *planner.Plan) { q.Placements = q.Placements[:2] }, "answered 0 times"},
		"no reason": {func(_ *planner.Problem, q *planner.Plan) { q.Placements[0].Why = "" }, "without a reason"},
		"waits silently": {func(_ *planner.Problem, q *planner.Plan) {
			q.Placements = q.Placements[1:]
			q.Unplaced = []*planner.Impossible{{Job: "jobs/1"}}
		}, "no reason"},
		"wrong bay":    {func(_ *planner.Problem, q *planner.Plan) { q.Placements[0].Bay = "bays/pit" }, "does not suit"},
		"wrong person": {func(_ *planner.Problem, q *planner.Plan) { q.Placements[0].Person = "people/ben" }, "needs engine"},
		"licence ends": {func(p *planner.Problem, _ *planner.Plan) { p.People[0].Skills[0].Expires = monday.Add(24 * time.Hour) }, "needs engine"},
		"no tool":      {func(_ *planner.Problem, q *planner.Plan) { q.Placements[0].Tools = nil }, "needs the tools"},
		"too early":    {func(_ *planner.Problem, q *planner.Plan) { q.Placements[1].When = hours(0, 2) }, "before"},
		"past":         {func(p *planner.Problem, _ *planner.Plan) { p.Now = monday.Add(3 * time.Hour) }, "in the past"},
		"too short":    {func(_ *planner.Problem, q *planner.Plan) { q.Placements[0].When = hours(0, 24) }, "working time"},
		"too long":     {func(_ *planner.Problem, q *planner.Plan) { q.Placements[0].When = hours(0, 26) }, "working time"},
		"over a block": {func(_ *planner.Problem, q *planner.Plan) { q.Placements[1].When = hours(3, 5) }, "over the block"},
		"opens at night": {func(p *planner.Problem, q *planner.Plan) {
			p.Jobs[0].Effort = time.Hour
			q.Placements[0].When = hours(10, 25)
		}, "nobody works"},
		"begun and moved":   {func(_ *planner.Problem, q *planner.Plan) { q.Placements[2].Bay = "bays/one" }, "was moved"},
		"begun and shifted": {func(_ *planner.Problem, q *planner.Plan) { q.Placements[2].When.Start = monday }, "was moved"},
		"bay twice":         {func(_ *planner.Problem, q *planner.Plan) { q.Placements[2].When.End = monday.Add(150 * time.Minute) }, "both hold bays/pit"},
		"tool twice": {func(p *planner.Problem, q *planner.Plan) {
			p.Jobs[1].ToolTypes, q.Placements[1].Tools = []string{"lock"}, []string{"tools/a"}
		}, "both hold tools/a"},
		"wish": {func(p *planner.Problem, _ *planner.Plan) {
			p.Jobs[1].Wish = &planner.Wish{Start: monday.Add(time.Hour)}
		}, "was wished"},
	} {
		t.Run(name, func(t *testing.T) {
			p, plan := possible()
			c.plant(&p, &plan)
			found := check.Plan(p, plan)
			for _, v := range found {
				if strings.Contains(v.String(), c.words) {
					return
				}
			}
			t.Errorf("found %v, want %q", found, c.words)
		})
	}
}
