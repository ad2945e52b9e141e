package planner_test

import (
	"math"
	"testing"
	"time"

	"ramprow/internal/engine/planner"
)

// judged is a plan of two jobs in one bay, the second promised for its planned end or later.
func judged(t *testing.T, spread func(string) planner.Spread, promised map[string]time.Time) planner.Judgement {
	t.Helper()
	p := always(job("jobs/1", 4), job("jobs/2", 4))
	j, err := planner.Judge(p, mustPlan(t, p), spread, promised)
	if err != nil {
		t.Fatal(err)
	}
	return j
}

// TestJudgeFindsWhereABufferPays: the first job alone is uncertain, so every promise that
// fails, fails because of it. With P80 at its planned end one in five of both fails.
func TestJudgeFindsWhereABufferPays(t *testing.T) {
	j := judged(t, func(job string) planner.Spread {
		if job == "jobs/1" {
			return planner.Spread{P50: 3 * time.Hour, P80: 4 * time.Hour}
		}
		return planner.Spread{P50: 4 * time.Hour, P80: 4 * time.Hour}
	}, map[string]time.Time{"jobs/1": hour(4), "jobs/2": hour(8)})
	near := func(got, want float64) bool { return math.Abs(got-want) < 0.011 } // two of 199 runs
	if !near(j.Held["jobs/1"], 0.8) || !near(j.Held["jobs/2"], 0.8) || !near(j.All, 0.8) || !near(j.Broken, 0.4) {
		t.Errorf("judged %+v", j)
	}
	if !near(j.Began["jobs/1"], 0.4) || j.Began["jobs/2"] != 0 {
		t.Errorf("failures begin with %v", j.Began)
	}
}

// TestJudgeAgreesWithForesee: a promise at P80 holds in four of five runs, one at the
// plan's end in as many as Foresee says, and a later one in no fewer.
func TestJudgeAgreesWithForesee(t *testing.T) {
	spread := func(string) planner.Spread { return planner.Spread{P50: 3 * time.Hour, P80: 4 * time.Hour} }
	p := always(job("jobs/1", 4), job("jobs/2", 4))
	out := foreseen(t, p, spread(""))["jobs/2"]
	for _, c := range []struct {
		at   time.Time
		held float64
	}{{out.P80, 160.0 / 199}, {hour(8), out.Held}, {hour(1000), 1}, {hour(0), 0}} {
		j := judged(t, spread, map[string]time.Time{"jobs/2": c.at})
		if math.Abs(j.Held["jobs/2"]-c.held) > 1e-9 || math.Abs(j.All-c.held) > 1e-9 || math.Abs(j.Broken-(1-c.held)) > 1e-9 {
			t.Errorf("promised for %v: %+v, want %v", c.at, j, c.held)
		}
		if sum := j.Began["jobs/1"] + j.Began["jobs/2"]; math.Abs(sum-j.Broken) > 1e-9 {
			t.Errorf("%v failures begin somewhere, %v fail", sum, j.Broken)
		}
	}
}
