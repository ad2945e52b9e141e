package workshop_test

import (
	"math/rand/v2"
	"reflect"
	"testing"
	"time"

	"ramprow/internal/engine/planner"
	"ramprow/internal/engine/planner/check"
	"ramprow/internal/engine/planner/workshop"
)

func mustSolve(t *testing.T, p workshop.Problem, o workshop.Options) workshop.Plan {
	t.Helper()
	plan, err := workshop.Solve(p, o)
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range check.Workshop(p, plan) {
		t.Error(v)
	}
	return plan
}

// lift is a shop with a lift and anna, who works from eight to five.
func lift(jobs ...workshop.Job) workshop.Problem {
	var shifts []planner.Shift
	for day := time.Monday; day <= time.Friday; day++ {
		shifts = append(shifts, planner.Shift{Weekday: day, From: 8 * 60, To: 17 * 60})
	}
	return workshop.Problem{
		Now: monday, Jobs: jobs,
		Bays:   []planner.Bay{{Name: "bays/1", Kind: "lift"}},
		People: []planner.Person{{Name: "people/anna", Calendar: planner.Calendar{Shifts: shifts}}},
	}
}

func work(h int) workshop.Operation { return workshop.Operation{Name: "work", Effort: hours(h)} }

func plain(name string, operations ...workshop.Operation) workshop.Job {
	w := workshop.Way{Operations: operations}
	for k := 1; k < len(operations); k++ {
		w.Lags = append(w.Lags, workshop.Lag{From: k - 1, To: k})
	}
	return workshop.Job{Name: name, Ways: []workshop.Way{w}}
}

// TestCuringRunsThroughTheNight: sealant that cures for ten hours is put on in the
// evening, so that the bay is not held a day longer; while it cures anna works at
// another car.
func TestCuringRunsThroughTheNight(t *testing.T) {
	cures := workshop.Operation{Name: "cures", Effort: hours(10), Unattended: true}
	p := lift(plain("jobs/1", work(2), cures, work(1)), plain("jobs/2", work(4)))
	p.Bays = append(p.Bays, planner.Bay{Name: "bays/2", Kind: "lift"})
	plan := mustSolve(t, p, workshop.Options{Seed: 1, Rounds: 30})
	ops := plan.Placements[0].Operations
	if !ops[2].When.Start.Equal(at(24)) || ops[1].When.End.After(at(24)) {
		t.Errorf("it cures %v and goes on at %v", ops[1].When, ops[2].When.Start)
	}
	if len(plan.Placements) != 2 || plan.Cost.Makespan != 25*12 {
		t.Errorf("got %+v", plan.Cost)
	}
}

// TestAWayThatIsQuickerIsTaken: of two ways the one is taken that is done in time.
func TestAWayThatIsQuickerIsTaken(t *testing.T) {
	j := plain("jobs/1", work(6))
	j.Ways = append(j.Ways, plain("", work(2), work(2)).Ways...)
	j.Due = at(4)
	plan := mustSolve(t, lift(j), workshop.Options{})
	if plan.Placements[0].Way != 1 || plan.Cost.Late != 0 || !plan.Optimal {
		t.Errorf("got %+v", plan)
	}
}

func TestMostLagPullsTheFirstOperationAlong(t *testing.T) {
	most := hours(1)
	j := plain("jobs/1", work(1), work(2))
	j.Ways[0].Lags[0].Max = &most
	j.Ways[0].Operations[1].Start = at(6)
	plan := mustSolve(t, lift(j), workshop.Options{})
	if start := plan.Placements[0].Operations[0].When.Start; start.Before(at(4)) {
		t.Errorf("the first starts at %v, and the second at six hours", start)
	}
}

func TestContradictionsAreRefused(t *testing.T) {
	circle := plain("jobs/1", work(1), work(1))
	circle.Ways[0].Lags = append(circle.Ways[0].Lags, workshop.Lag{From: 1, To: 0})
	outside := plain("jobs/1", work(1))
	outside.Ways[0].Lags = []workshop.Lag{{From: 0, To: 3}}
	opened := plain("jobs/1", work(1))
	opened.Opened = &workshop.Opened{Bay: "bays/1", Way: 2}
	for name, j := range map[string]workshop.Job{
		"circle": circle, "outside": outside, "opened by no way": opened,
		"no way": {Name: "jobs/1"}, "no operation": {Name: "jobs/1", Ways: []workshop.Way{{}}},
	} {
		if _, err := workshop.Solve(lift(j), workshop.Options{}); err == nil {
			t.Errorf("%s was planned", name)
		}
	}
}

// TestTheSameSeedGivesTheSamePlan, however many cores are there, and another seed may
// give another one.
func TestTheSameSeedGivesTheSamePlan(t *testing.T) {
	p := maker{rand.New(rand.NewPCG(3, 3))}.crowd(12)
	o := workshop.Options{Seed: 5, Rounds: 18, Islands: 3}
	first := mustSolve(t, p, o)
	for range 3 {
		if again := mustSolve(t, p, o); !reflect.DeepEqual(first, again) {
			t.Fatal("the same seed gave two plans")
		}
	}
	if quick := mustSolve(t, p, workshop.Options{}); quick.Cost.Total() < first.Cost.Total() {
		t.Errorf("searching made it worse: %+v, at first %+v", first.Cost, quick.Cost)
	}
}

// TestALastPlanIsKept: where nothing has happened nothing changes, and after one has
// fallen ill most stays.
func TestALastPlanIsKept(t *testing.T) {
	p := maker{rand.New(rand.NewPCG(4, 4))}.crowd(12)
	for i := range p.Jobs { // nobody is in a hurry, so nothing else is worth a change
		p.Jobs[i].Due = time.Time{}
	}
	last := mustSolve(t, p, workshop.Options{Seed: 1, Rounds: 25})
	for i := range p.Jobs {
		for n := range last.Placements {
			if last.Placements[n].Job == p.Jobs[i].Name {
				p.Jobs[i].Last = &last.Placements[n]
			}
		}
	}
	if again := mustSolve(t, p, workshop.Options{}); again.Cost.Change != 0 || !reflect.DeepEqual(again.Placements, last.Placements) {
		t.Errorf("nothing has happened, and it changed: %+v", again.Cost)
	}
	p.People[0].Calendar.Blocks = []planner.Block{{When: planner.Interval{Start: at(0), End: at(24)}, Why: "ill"}}
	after := mustSolve(t, p, workshop.Options{Seed: 1, Rounds: 25})
	kept := 0
	for _, was := range last.Placements {
		for _, is := range after.Placements {
			if reflect.DeepEqual(was, is) {
				kept++
			}
		}
	}
	if kept == len(last.Placements) || kept < len(last.Placements)/3 {
		t.Errorf("%d of %d stayed", kept, len(last.Placements))
	}
}

// crowd is a shop with three lifts, three people and so many jobs.
func (m maker) crowd(jobs int) workshop.Problem {
	p := lift()
	p.Bays = append(p.Bays, planner.Bay{Name: "bays/2", Kind: "lift"}, planner.Bay{Name: "bays/3", Kind: "pit"})
	for _, name := range []string{"people/ben", "people/cleo"} {
		h := p.People[0]
		h.Name, h.Skills = name, []planner.Skill{{Name: "engine"}, {Name: "cold"}}
		p.People = append(p.People, h)
	}
	p.Tools = []planner.Tool{{Name: "tools/1", Type: "lock"}}
	for i := range jobs {
		j := m.job(&p, i, 2+m.IntN(3))
		j.Opened, j.Last, j.Start, j.Bay = nil, nil, time.Time{}, ""
		for w := range j.Ways {
			for k := range j.Ways[w].Operations {
				o := &j.Ways[w].Operations[k]
				o.Start, o.Person, o.Started = time.Time{}, "", nil
				o.Effort = max(o.Effort, hours(1))
			}
		}
		p.Jobs = append(p.Jobs, j)
	}
	return p
}

// TestHandbookSingleMachine: on one machine with all jobs there, the earliest due date
// first minimises the greatest lateness (Jackson, 1955), and jobs in due-date order
// with no lateness are optimal; the exact search agrees that it costs nothing.
func TestHandbookSingleMachine(t *testing.T) {
	p := lift()
	p.Grid = time.Hour
	p.People[0].Calendar = planner.Calendar{}
	p.Horizon = hours(20)
	for i, c := range []struct{ effort, due int }{{4, 16}, {2, 3}, {3, 6}, {5, 12}} {
		j := plain([]string{"jobs/a", "jobs/b", "jobs/c", "jobs/d"}[i], work(c.effort))
		j.Due = at(c.due)
		p.Jobs = append(p.Jobs, j)
	}
	plan, err := workshop.Exact(p, workshop.Options{}, 1_000_000)
	if err != nil || !plan.Optimal || plan.Cost.Late != 0 || plan.Cost.Makespan != 14 {
		t.Errorf("got %+v, %v", plan, err)
	}
	p.Jobs[0].Due = at(1) // b, a, c, d are 0, 5, 3 and 2 hours late; the other 23 orders, by hand, more
	plan, err = workshop.Exact(p, workshop.Options{}, 1_000_000)
	if err != nil || !plan.Optimal || plan.Cost.Late != 100*10 {
		t.Errorf("got %+v, %v", plan, err)
	}
}

func BenchmarkFirstPlan(b *testing.B) {
	p := maker{rand.New(rand.NewPCG(4, 4))}.crowd(20)
	for b.Loop() {
		if _, err := workshop.Solve(p, workshop.Options{Quick: true}); err != nil {
			b.Fatal(err)
		}
	}
}
