package workshop_test

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"ramprow/internal/engine/planner"
	"ramprow/internal/engine/planner/check"
	"ramprow/internal/engine/planner/workshop"
)

// monday is when all problems begin.
var monday = time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)

func hours(h int) time.Duration { return time.Duration(h) * time.Hour }

func at(h int) time.Time { return monday.Add(hours(h)) }

// maker draws tiny problems with everything in them.
type maker struct{ *rand.Rand }

func (m maker) one(in int) bool { return m.IntN(in) == 0 }

func (m maker) calendar(overtime bool) planner.Calendar {
	var c planner.Calendar
	if !m.one(3) {
		noon := 10 + m.IntN(3)
		c.Shifts = []planner.Shift{
			{Weekday: time.Monday, From: 8 * 60, To: noon * 60}, {Weekday: time.Monday, From: (noon + 1) * 60, To: (15 + m.IntN(3)) * 60},
		}
		if overtime && m.one(3) {
			c.Extra = []planner.Interval{{Start: at(noon - 8), End: at(noon - 7)}, {Start: at(8), End: at(10)}}
		}
	}
	if m.one(3) {
		start := m.IntN(8)
		c.Blocks = []planner.Block{{When: planner.Interval{Start: at(start), End: at(start + 1 + m.IntN(2))}, Why: "away"}}
	}
	return c
}

func (m maker) problem() workshop.Problem {
	p := workshop.Problem{Now: monday, Grid: time.Hour, Horizon: 11 * time.Hour}
	for i := range 1 + m.IntN(2) {
		p.Bays = append(p.Bays, planner.Bay{Name: fmt.Sprintf("bays/%d", i), Kind: []string{"lift", "pit"}[m.IntN(2)], Calendar: m.calendar(false)})
	}
	for i := range 1 + m.IntN(2) {
		h := planner.Person{Name: fmt.Sprintf("people/%d", i), Calendar: m.calendar(true), Skills: []planner.Skill{{Name: "engine"}}}
		if m.one(2) {
			h.Skills = append(h.Skills, planner.Skill{Name: "cold", Expires: at(2 + m.IntN(9))})
		}
		p.People = append(p.People, h)
	}
	for i := range m.IntN(3) {
		p.Tools = append(p.Tools, planner.Tool{Name: fmt.Sprintf("tools/%d", i), Type: "lock", Calendar: m.calendar(false)})
	}
	left := 3 + m.IntN(2) // operations in all
	for i := 0; left > 0 && i < 3; i++ {
		n := 1 + m.IntN(min(left, 3))
		left -= n
		p.Jobs = append(p.Jobs, m.job(&p, i, n))
	}
	return p
}

func (m maker) job(p *workshop.Problem, i, n int) workshop.Job {
	j := workshop.Job{Name: fmt.Sprintf("jobs/%d", i), Priority: m.IntN(3), Ways: []workshop.Way{m.way(n)}}
	if m.one(5) && n < 3 {
		j.Ways = append(j.Ways, m.way(n))
	}
	if m.one(3) {
		j.Release = at(m.IntN(5))
	}
	if !m.one(4) {
		j.Due = at(1 + m.IntN(9))
	}
	if m.one(3) {
		j.BayKinds = []string{"lift"}
	}
	if m.one(6) {
		j.Bay = p.Bays[0].Name
	}
	if m.one(8) {
		j.Start = at(m.IntN(6))
	}
	switch first := &j.Ways[0].Operations[0]; {
	case i == 0 && m.one(4):
		j.Opened = &workshop.Opened{Since: at(-1 - m.IntN(3)), Bay: p.Bays[0].Name}
		j.Start = time.Time{}
		if m.one(2) {
			*first = workshop.Operation{Effort: first.Effort, Started: &workshop.Started{At: at(-1), Person: p.People[0].Name}}
		}
	case m.one(4):
		j.Last = &workshop.Placement{Job: j.Name, Bay: p.Bays[m.IntN(len(p.Bays))].Name}
		for range n {
			start := m.IntN(6)
			j.Last.Operations = append(j.Last.Operations, workshop.Assignment{
				Person: p.People[m.IntN(len(p.People))].Name, When: planner.Interval{Start: at(start), End: at(start + 1)},
			})
		}
	}
	for k := range j.Ways[0].Operations {
		if o := &j.Ways[0].Operations[k]; o.Started == nil && m.one(10) {
			o.Start = at(m.IntN(7))
		} else if o.Started == nil && !o.Unattended && m.one(6) {
			o.Person = p.People[m.IntN(len(p.People))].Name
		}
	}
	return j
}

func (m maker) way(n int) workshop.Way {
	var w workshop.Way
	for k := range n {
		o := workshop.Operation{Name: fmt.Sprint(k), Effort: hours(1 + m.IntN(3)), Unattended: m.one(5), Whole: m.one(4)}
		if m.one(4) {
			o.ToolTypes = []string{"lock"}
		}
		if !o.Unattended {
			o.Skills = [][]string{nil, nil, {"engine"}, {"engine"}, {"cold"}}[m.IntN(5)]
		}
		w.Operations = append(w.Operations, o)
		if k > 0 && !m.one(4) {
			l := workshop.Lag{From: m.IntN(k), To: k, Min: hours(m.IntN(2))}
			if m.one(2) {
				most := l.Min + hours(m.IntN(2))
				l.Max = &most
			}
			w.Lags = append(w.Lags, l)
		}
	}
	return w
}

// TestExactAgainstBruteForce: on 2,000 tiny problems with calendars, held bays, lags,
// pins, alternatives, overtime, licences that end, work that has begun and a last plan,
// the exact search costs what trying everything costs, and the checker, which is a
// third piece of code, agrees with both.
func TestExactAgainstBruteForce(t *testing.T) {
	asked, placed, found := 0, 0, 0
	for seed := range uint64(problems) {
		p := maker{rand.New(rand.NewPCG(seed, 7))}.problem()
		plan, err := workshop.Exact(p, workshop.Options{Seed: seed, Rounds: 1}, 2_000_000)
		if err != nil {
			t.Fatal(err)
		}
		for _, v := range check.Workshop(p, plan) {
			t.Errorf("problem %d: %v", seed, v)
		}
		if want := int64(cheapest(p)); plan.Cost.Total() != want || !plan.Optimal {
			t.Errorf("problem %d costs %d (%+v, optimal: %v), and trying everything finds %d", seed, plan.Cost.Total(), plan.Cost, plan.Optimal, want)
		}
		quick, err := workshop.Solve(p, workshop.Options{Seed: seed, Rounds: 2, Islands: 2})
		if err != nil {
			t.Fatal(err)
		}
		for _, v := range check.Workshop(p, quick) {
			t.Errorf("problem %d, searched: %v", seed, v)
		}
		if quick.Cost.Total() < plan.Cost.Total() {
			t.Errorf("problem %d: the search costs %d, less than the best, %d", seed, quick.Cost.Total(), plan.Cost.Total())
		}
		asked += len(p.Jobs)
		placed += len(plan.Placements)
		if quick.Cost.Total() == plan.Cost.Total() {
			found++
		}
		if t.Failed() {
			t.Fatalf("%+v\n%+v", p, plan)
		}
	}
	t.Logf("%d of %d jobs placed; the search alone found %d of %d best plans", placed, asked, found, problems)
	if placed < asked/2 {
		t.Errorf("%d of %d jobs were placed: the problems are no test", placed, asked)
	}
}
