package planner_test

import (
	"fmt"
	"math"
	"reflect"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"ramprow/internal/engine/planner"
	"ramprow/internal/engine/planner/check"
)

// TestImprovementNeverCosts: whatever the problem and whatever happens next, an improved
// plan passes the checker, costs no more than what it began with, and is the same for
// the same seed, islands and rounds. Every first plan stands as it was made.
func TestImprovementNeverCosts(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p := drawProblem(t)
		o := planner.Search{
			Seed: rapid.Uint64().Draw(t, "seed"), Islands: rapid.IntRange(0, 3).Draw(t, "islands"),
			Rounds: rapid.IntRange(0, 3).Draw(t, "rounds"),
		}
		for range rapid.IntRange(1, 2).Draw(t, "times") {
			plan, err := planner.Make(p)
			if err != nil {
				t.Fatal(err)
			}
			stands, misfits, err := planner.Stand(p, plan)
			if err != nil || len(misfits) > 0 || math.Abs(stands.Cost.Total()-plan.Cost.Total()) > 1e-6 {
				t.Errorf("a first plan of %v stands for %v: %v, %v", plan.Cost.Total(), stands.Cost.Total(), misfits, err)
			}
			better, err := planner.Improve(p, plan, o)
			if err != nil {
				t.Fatal(err)
			}
			for _, v := range check.Plan(p, better) {
				t.Error(v)
			}
			if better.Cost.Total() > plan.Cost.Total()+1e-6 {
				t.Errorf("%v became %v", plan.Cost.Total(), better.Cost.Total())
			}
			if again, err := planner.Improve(p, plan, o); err != nil || !reflect.DeepEqual(again, better) {
				t.Errorf("the same search gave\n%+v and\n%+v (%v)", better, again, err)
			}
			p = disturb(t, p, better)
		}
	})
}

// TestImprovementLeavesWhatMustStay: begun and pinned work lies where it lay, and a booking moves
// only if that pays.
func TestImprovementLeavesWhatMustStay(t *testing.T) {
	begun, pinned := job("jobs/begun", 3), job("jobs/pinned", 2)
	begun.Started = &planner.Started{At: monday, Since: monday, Left: begun.Effort, Bay: "bays/two", Person: "people/ben"}
	pinned.Pinned = true
	pinned.Current = &planner.Current{Bay: "bays/one", Person: "people/anna", When: planner.Interval{Start: hour(4), End: hour(6)}}
	long, near := job("jobs/long", 4), job("jobs/near", 1)
	long.Current = &planner.Current{Bay: "bays/one", Person: "people/anna", When: planner.Interval{Start: hour(24), End: hour(28)}}
	near.Current = &planner.Current{Bay: "bays/two", Person: "people/ben", When: planner.Interval{Start: hour(4), End: hour(5)}}
	p := shop(begun, pinned, long, near)
	lies := planner.Plan{}
	for _, j := range p.Jobs {
		if j.Current != nil {
			lies.Placements = append(lies.Placements, planner.Placement{Job: j.Name, Bay: j.Current.Bay, Person: j.Current.Person, When: j.Current.When})
		}
	}
	plan, err := planner.Improve(p, lies, planner.Search{Seed: 1, Rounds: 5})
	if err != nil {
		t.Fatal(err)
	}
	for name, want := range map[string]string{
		"jobs/begun": "bays/two 0 kept", "jobs/pinned": "bays/one 4 kept",
		"jobs/long": "bays/one 0", // a day sooner
		"jobs/near": "bays/two 4 kept",
	} {
		at := placed(t, plan, name)
		got := at.Bay + " " + strings.TrimSuffix(at.When.Start.Sub(monday).String(), "h0m0s")
		if at.When.Start.Equal(monday) {
			got = at.Bay + " 0"
		}
		if at.Kept {
			got += " kept"
		}
		if got != want {
			t.Errorf("%s lies at %s, want %s", name, got, want)
		}
	}
}

// TestStandNamesWhatDoesNotFit: two jobs in one bay, one that is not there any more and one
// before its parts.
func TestStandNamesWhatDoesNotFit(t *testing.T) {
	early := job("jobs/3", 1)
	early.Release = hour(2)
	at := func(name, person string, from, to float64) planner.Placement {
		return planner.Placement{Job: name, Bay: "bays/one", Person: person, When: planner.Interval{Start: hour(from), End: hour(to)}}
	}
	plan, misfits, err := planner.Stand(shop(job("jobs/1", 2), job("jobs/2", 2), early), planner.Plan{Placements: []planner.Placement{
		at("jobs/1", "people/anna", 0, 2), at("jobs/2", "people/ben", 1, 3), at("jobs/3", "people/ben", 1, 2), at("jobs/9", "people/ben", 5, 6),
	}})
	if err != nil {
		t.Fatal(err)
	}
	if len(plan.Placements) != 1 || len(misfits) != 3 {
		t.Fatalf("%d lie, and %q do not fit", len(plan.Placements), misfits)
	}
	for i, want := range []string{"jobs/2 no longer fits in bays/one with people/ben at Mon 2 Mar 09:00", "jobs/3", "jobs/9"} {
		if !strings.HasPrefix(misfits[i], want) {
			t.Errorf("%q, want %s", misfits[i], want)
		}
	}
}

func TestASearchEndsWhenItIsTold(t *testing.T) {
	p := workshop(3, 3, 8)
	plan := mustPlan(t, p)
	asked := 0
	_, err := planner.Improve(p, plan, planner.Search{
		Rounds: math.MaxInt, Stop: func() bool { asked++; return asked > 3 }, Progress: func() float64 { return 0.5 },
	})
	if err != nil || asked != 4 {
		t.Errorf("asked %d times: %v", asked, err)
	}
}

// BenchmarkImprove is a hundred tries on the plan of a small and a large workshop.
func BenchmarkImprove(b *testing.B) {
	for _, size := range [][3]int{{5, 5, 20}, {30, 40, 200}} {
		p := workshop(size[0], size[1], size[2])
		plan, err := planner.Make(p)
		if err != nil {
			b.Fatal(err)
		}
		b.Run(fmt.Sprintf("bays=%d/jobs=%d", size[0], size[2]), func(b *testing.B) {
			for b.Loop() {
				if _, err := planner.Improve(p, plan, planner.Search{Seed: 1, Rounds: 100 / planner.StepsPerRound}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
