package bays

import (
	"context"
	"fmt"
	"math"
	"time"

	"ramprow/internal/engine/planner"
	"ramprow/internal/engine/planner/check"
)

// atOnce is the time in which a plan should be near the best that is found in a minute.
const atOnce = 20 * time.Millisecond

// Whole is a plan that takes each job as one piece of work, as bookings are made.
type Whole struct {
	// Asked is the time for first plan and search together; zero: the first plan alone.
	Asked, Spent time.Duration
	Cost         planner.Cost
	// Above is by how many percent it costs more than the longest search's.
	Above float64
	// Moved are the jobs that lie elsewhere than in the plan before.
	Moved int
}

// drawWhole makes a workshop like draw's in which a job is one piece of work.
func drawWhole(size Size, seed uint64) planner.Problem {
	detailed := draw(size, seed)
	d := newDrawer(seed, size.Jobs+1)
	p := planner.Problem{Now: detailed.Now, Grid: 5 * time.Minute, Bays: detailed.Bays, People: detailed.People, Tools: detailed.Tools}
	for _, j := range detailed.Jobs {
		whole := planner.Job{
			Name: j.Name, Priority: j.Priority, Release: j.Release, Due: j.Due, BayKinds: j.BayKinds,
			Effort: time.Duration(4+d.IntN(24)) * 30 * time.Minute,
		}
		if d.IntN(4) == 0 {
			whole.Skills = []string{"cold"}
		}
		if d.IntN(6) == 0 {
			whole.ToolTypes = []string{[]string{"lock", "holder"}[d.IntN(2)]}
		}
		p.Jobs = append(p.Jobs, whole)
	}
	return p
}

// whole plans jobs as one piece each: at once, in atOnce and for as long as was asked.
func (b *bench) whole(ctx context.Context, p planner.Problem, seconds []float64) (all []Whole, best planner.Plan, err error) {
	asked := []time.Duration{0, atOnce}
	for _, s := range seconds {
		asked = append(asked, time.Duration(s*float64(time.Second)))
	}
	for _, a := range asked {
		var w Whole
		if best, w, err = b.wholeFor(ctx, p, a); err != nil {
			return nil, best, err
		}
		all = append(all, w)
	}
	longest := all[len(all)-1].Cost.Total()
	for i := range all {
		all[i].Above = 100 * (all[i].Cost.Total()/longest - 1)
	}
	return all, best, nil
}

func (b *bench) wholeFor(ctx context.Context, p planner.Problem, asked time.Duration) (planner.Plan, Whole, error) {
	start := time.Now()
	plan, err := planner.Make(p)
	if err == nil && asked > 0 {
		plan, err = planner.Improve(p, plan, planner.Search{
			Seed: b.c.Seed, Islands: b.c.Islands, Rounds: math.MaxInt,
			Progress: func() float64 { return float64(time.Since(start)) / float64(asked) },
			Stop:     func() bool { return ctx.Err() != nil || time.Since(start) >= asked },
		})
	}
	w := Whole{Asked: asked, Spent: time.Since(start), Cost: plan.Cost}
	if err != nil {
		return plan, w, err
	}
	for _, at := range plan.Placements {
		if !at.Kept {
			w.Moved++
		}
	}
	b.say("  jobs as a whole, asked for %v: %v, %+v", asked, w.Spent.Round(time.Millisecond), w.Cost)
	if wrong := check.Plan(p, plan); len(wrong) > 0 {
		return plan, w, fmt.Errorf("the checker refuses the plan: %v and %d more", wrong[0], len(wrong)-1)
	}
	return plan, w, nil
}

// wholes measures one workshop, and what is left of its plan when a person is ill.
func (b *bench) wholes(ctx context.Context, m *Measured) error {
	p := drawWhole(m.Size, b.c.Seed)
	var last planner.Plan
	var err error
	if m.Whole, last, err = b.whole(ctx, p, b.c.Seconds); err != nil {
		return err
	}
	lies := map[string]planner.Placement{}
	for _, at := range last.Placements {
		lies[at.Job] = at
	}
	after := p
	after.Jobs = nil
	for _, j := range p.Jobs {
		if at, ok := lies[j.Name]; ok {
			j.Current = &planner.Current{Bay: at.Bay, Person: at.Person, Tools: at.Tools, When: at.When}
		}
		after.Jobs = append(after.Jobs, j)
	}
	after.People = fallIll(p.People, p.Now)
	m.WholeIll, _, err = b.whole(ctx, after, []float64{1})
	return err
}

// fallIll has the first person away for two days.
func fallIll(people []planner.Person, now time.Time) []planner.Person {
	after := append([]planner.Person(nil), people...)
	who := &after[0].Calendar
	who.Blocks = append(append([]planner.Block(nil), who.Blocks...), planner.Block{
		When: planner.Interval{Start: now, End: now.AddDate(0, 0, 2)}, Why: "ill",
	})
	return after
}
