package planner_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"ramprow/internal/engine/planner"
)

// always is a shop that never closes, with one lift and one mechanic.
func always(jobs ...planner.Job) planner.Problem {
	p := shop(jobs...)
	p.Bays, p.People = p.Bays[:1], []planner.Person{{Name: "people/anna", Skills: []planner.Skill{{Name: "engine"}}}}
	return p
}

func foreseen(t *testing.T, p planner.Problem, s planner.Spread) map[string]planner.Outlook {
	t.Helper()
	out, err := planner.Foresee(p, mustPlan(t, p), func(string) planner.Spread { return s })
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// TestAloneTheOutlookIsTheSpread: a job that waits for nobody ends in four of five
// runs after its P80, in half of them after its P50.
func TestAloneTheOutlookIsTheSpread(t *testing.T) {
	out := foreseen(t, always(job("jobs/1", 4)), planner.Spread{P50: 3 * time.Hour, P80: 4 * time.Hour})["jobs/1"]
	if !out.P50.Equal(hour(3)) || !out.P80.Equal(hour(4)) || math.Abs(out.Held-0.8) > 0.01 {
		t.Errorf("got %+v", out)
	}
	certain := foreseen(t, always(job("jobs/1", 4)), planner.Spread{P50: 4 * time.Hour, P80: 4 * time.Hour})["jobs/1"]
	if !certain.P50.Equal(hour(4)) || !certain.P80.Equal(hour(4)) || certain.Held != 1 {
		t.Errorf("without uncertainty: %+v", certain)
	}
}

// TestWhoWaitsForAnotherEndsLater: the second job's outlook is held against as many
// runs of plain arithmetic: max(planned start, end of the first) + its own time, with
// Go's own normal numbers instead of the planner's.
func TestWhoWaitsForAnotherEndsLater(t *testing.T) {
	spread := planner.Spread{P50: 3 * time.Hour, P80: 4 * time.Hour}
	out := foreseen(t, always(job("jobs/1", 4), job("jobs/2", 4)), spread)["jobs/2"]
	random := rand.New(rand.NewPCG(1, 1))
	sigma := math.Log(4.0/3.0) / 0.8416212335729143
	took := func() float64 { return 3 * math.Exp(sigma*random.NormFloat64()) }
	ends := make([]float64, 200_000)
	for i := range ends {
		ends[i] = max(4, took()) + took()
	}
	slices.Sort(ends)
	want := ends[len(ends)*4/5]
	got := out.P80.Sub(monday).Hours()
	if math.Abs(got-want) > 0.25 { // 199 runs have a standard error of some six minutes here
		t.Errorf("P80 after %.2f hours, the arithmetic says %.2f", got, want)
	}
	if got <= 8 || out.Held >= 0.8 {
		t.Errorf("the conflict costs nothing: %+v", out)
	}
}

// TestAnOutlookDependsOnItsOwnRowOnly: what lies in another bay with another person
// changes nothing.
func TestAnOutlookDependsOnItsOwnRowOnly(t *testing.T) {
	p := shop(job("jobs/1", 2), job("jobs/2", 3))
	spread := planner.Spread{P50: time.Hour, P80: 2 * time.Hour}
	alone := foreseen(t, shop(job("jobs/1", 2)), spread)["jobs/1"]
	both := foreseen(t, p, spread)
	if both["jobs/1"] != alone {
		t.Errorf("alone %+v, beside another %+v", alone, both["jobs/1"])
	}
}

func TestOutlookOfBegunWorkAndOverNight(t *testing.T) {
	p := shop(job("jobs/1", 2))
	p.Now = hour(1)
	p.Jobs[0].Started = &planner.Started{At: hour(0), Bay: "bays/one", Person: "people/anna", Since: hour(1), Left: 2 * time.Hour}
	out := foreseen(t, p, planner.Spread{P50: time.Hour, P80: 2 * time.Hour})["jobs/1"]
	if !out.P50.Equal(hour(2)) || !out.P80.Equal(hour(3)) {
		t.Errorf("begun: %+v", out)
	}
	long := foreseen(t, shop(job("jobs/1", 12)), planner.Spread{P50: 8 * time.Hour, P80: 12 * time.Hour})["jobs/1"]
	if !long.P80.Equal(hour(27)) { // nine hours on Monday, three on Tuesday
		t.Errorf("over night: %+v", long)
	}
}

func BenchmarkForesee(b *testing.B) {
	p := workshop(10, 10, 40)
	plan, err := planner.Make(p)
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if _, err := planner.Foresee(p, plan, func(string) planner.Spread { return planner.Spread{P50: 2 * time.Hour, P80: 3 * time.Hour} }); err != nil {
			b.Fatal(err)
		}
	}
}
