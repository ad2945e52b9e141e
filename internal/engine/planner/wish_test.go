package planner_test

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"ramprow/internal/engine/planner"
	"ramprow/internal/engine/planner/check"
)

// TestAWishIsKeptOrItsReasonsLifted: a wish for a bay, a person and a time is met to
// the letter (the checker looks at that), or refused; and when everything that stands
// against the easiest choice is taken away, it is met.
func TestAWishIsKeptOrItsReasonsLifted(t *testing.T) {
	kinds := map[planner.FactKind]int{}
	rapid.Check(t, func(t *rapid.T) {
		p := drawProblem(t)
		plan, err := planner.Make(p)
		if err != nil {
			t.Fatal(err)
		}
		p = disturb(t, p, plan)
		for i := range p.Jobs {
			p.Jobs[i].Wish = nil
		}
		i := rapid.IntRange(0, len(p.Jobs)-1).Draw(t, "who wishes")
		j := &p.Jobs[i]
		if j.Started != nil {
			return
		}
		j.Pinned, j.Current = false, nil
		j.Wish = &planner.Wish{Start: p.Now.Truncate(5 * time.Minute).Add(time.Duration(rapid.IntRange(1, 300).Draw(t, "start")) * 15 * time.Minute)}
		if rapid.Bool().Draw(t, "bay") {
			j.Wish.Bay = rapid.SampledFrom(p.Bays).Draw(t, "which").Name
		}
		if rapid.Bool().Draw(t, "person") {
			j.Wish.Person = rapid.SampledFrom(p.People).Draw(t, "whom").Name
		}
		refused := refusal(t, p, j.Name)
		if refused == nil {
			return
		}
		for _, f := range refused.Lift {
			kinds[f.Kind]++
			switch f.Kind { //nolint:exhaustive // the others cannot be lifted one by one
			case planner.FactPast, planner.FactNoRoom, planner.FactNoBay, planner.FactNoPerson, planner.FactNoTool:
				return
			}
		}
		name := j.Name
		for _, f := range refused.Lift {
			p = lift(p, name, f)
		}
		if still := refusal(t, p, name); still != nil {
			t.Fatalf("refused for %v; without these still for %v", refused.Lift, still.Lift)
		}
	})
	for _, kind := range []planner.FactKind{planner.FactHeld, planner.FactClosed, planner.FactBlocked, planner.FactNotReleased} {
		if kinds[kind] == 0 {
			t.Errorf("no wish was refused for %s: this is no test of it", kind)
		}
	}
}

// refusal plans and gives why a job has no place; nil: it has one.
func refusal(t *rapid.T, p planner.Problem, job string) *planner.Impossible {
	plan, err := planner.Make(p)
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range check.Plan(p, plan) {
		t.Error(v)
	}
	for _, u := range plan.Unplaced {
		if u.Job == job {
			if len(u.Facts) == 0 || len(u.Lift) == 0 {
				t.Fatalf("%s is refused without a reason", job)
			}
			return u
		}
	}
	return nil
}

// lift makes one fact untrue.
func lift(p planner.Problem, wisher string, f planner.Fact) planner.Problem {
	p.Bays, p.People, p.Tools = slices.Clone(p.Bays), slices.Clone(p.People), slices.Clone(p.Tools)
	var jobs []planner.Job
	for _, j := range p.Jobs {
		if j.Name == wisher && f.Kind == planner.FactNotReleased {
			j.Release = time.Time{}
		}
		if f.Kind != planner.FactHeld || j.Name != f.Job {
			jobs = append(jobs, j)
		}
	}
	p.Jobs = jobs
	free := func(name string, c *planner.Calendar) {
		switch {
		case name != f.Resource:
		case f.Kind == planner.FactClosed:
			*c = planner.Calendar{}
		case f.Kind == planner.FactBlocked:
			c.Blocks = nil
		}
	}
	for i := range p.Bays {
		free(p.Bays[i].Name, &p.Bays[i].Calendar)
	}
	for i := range p.Tools {
		free(p.Tools[i].Name, &p.Tools[i].Calendar)
	}
	for i := range p.People {
		free(p.People[i].Name, &p.People[i].Calendar)
		if f.Kind == planner.FactExpired && p.People[i].Name == f.Resource {
			p.People[i].Skills = slices.Clone(p.People[i].Skills)
			for k := range p.People[i].Skills {
				p.People[i].Skills[k].Expires = time.Time{}
			}
		}
	}
	return p
}

// TestTheSmallestSetOfFacts: three bays and two people. One fact about the person
// whom the wish names forbids everything; the bays' three are not told.
func TestTheSmallestSetOfFacts(t *testing.T) {
	var jobs []planner.Job
	for i, bay := range []string{"bays/one", "bays/two"} {
		j := job(fmt.Sprintf("jobs/%d", i), 4)
		j.Started = &planner.Started{At: monday, Since: monday, Left: 4 * time.Hour, Bay: bay, Person: []string{"people/anna", "people/ben"}[i]}
		jobs = append(jobs, j)
	}
	wish := job("jobs/9", 2)
	wish.Wish = &planner.Wish{Person: "people/anna", Start: hour(1)}
	plan := mustPlan(t, shop(append(jobs, wish)...))
	if len(plan.Unplaced) != 1 || len(plan.Unplaced[0].Facts) != 1 || plan.Unplaced[0].Facts[0].Resource != "people/anna" {
		t.Fatalf("got %v", plan.Unplaced)
	}
	if lift := plan.Unplaced[0].Lift; len(lift) != 2 {
		t.Errorf("to be lifted: %v", lift)
	}
}
