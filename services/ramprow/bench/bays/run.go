package bays

import (
	"context"
	"fmt"
	"io"
	"math"
	"runtime"
	"time"

	"ramprow/internal/engine/planner/check"
	"ramprow/internal/engine/planner/workshop"
)

// Config says what is measured.
type Config struct {
	Sizes []Size
	// Seconds are after how long the plan is looked at; the first plan always is.
	Seconds []float64
	Seed    uint64
	// WholeOnly leaves out the planning of operations.
	WholeOnly bool
	// Islands search at the same time; zero: one for each processor.
	Islands int
	// Progress is told what is being done; nil: nobody.
	Progress io.Writer
}

// Report is everything that was measured.
type Report struct {
	Processors, Islands int
	Workshops           []Measured
}

// Measured is one workshop.
type Measured struct {
	Size  Size
	Bound int64
	Plans []Looked
	// Within is the time after which a search that begins anew is within a hundredth
	// of the longest one's cost; zero: it is not within the first second.
	Within time.Duration
	// Ill is the plan after a person has fallen ill for two days, at once and searched for a second.
	Ill []Looked
	// Whole takes each job as one piece of work; WholeIll is Ill for that.
	Whole, WholeIll []Whole
}

// Looked is a plan at a moment.
type Looked struct {
	Asked, Spent time.Duration
	Cost         workshop.Cost
	Gap          float64
	// JobsChanged and OperationsChanged differ from the plan before.
	JobsChanged, OperationsChanged int
}

// Run measures. Every plan is held against the checker; one that is not possible is an error.
func Run(ctx context.Context, c Config) (*Report, error) {
	if c.Islands <= 0 {
		c.Islands = runtime.GOMAXPROCS(0)
	}
	r := &Report{Processors: runtime.GOMAXPROCS(0), Islands: c.Islands}
	for _, size := range c.Sizes {
		b := &bench{c: c, p: draw(size, c.Seed)}
		m, err := b.measure(ctx, size)
		if err != nil {
			return nil, err
		}
		r.Workshops = append(r.Workshops, m)
	}
	return r, ctx.Err()
}

type bench struct {
	c     Config
	p     workshop.Problem
	bound int64
}

func (b *bench) say(format string, args ...any) {
	if b.c.Progress != nil {
		_, _ = fmt.Fprintf(b.c.Progress, format+"\n", args...) // nobody may be looking
	}
}

func (b *bench) measure(ctx context.Context, size Size) (Measured, error) {
	m := Measured{Size: size}
	b.say("%d bays, %d people, %d jobs of %d operations", size.Bays, size.People, size.Jobs, size.Operations)
	if !b.c.WholeOnly {
		if err := b.operations(ctx, &m); err != nil {
			return m, err
		}
	}
	return m, b.wholes(ctx, &m)
}

// operations measures the planning of operations.
func (b *bench) operations(ctx context.Context, m *Measured) error {
	bounded, err := workshop.Solve(b.p, workshop.Options{})
	if err != nil {
		return err
	}
	b.bound, m.Bound = bounded.Bound, bounded.Bound
	var plan workshop.Plan
	for _, seconds := range append([]float64{0}, b.c.Seconds...) {
		var l Looked
		if plan, l, err = b.look(ctx, seconds); err != nil {
			return err
		}
		m.Plans = append(m.Plans, l)
	}
	if m.Within, err = b.within(ctx, plan.Cost.Total()); err != nil {
		return err
	}
	m.Ill, err = b.ill(ctx, plan)
	return err
}

// look plans for so many seconds; zero: the first plan.
func (b *bench) look(ctx context.Context, seconds float64) (workshop.Plan, Looked, error) {
	asked := time.Duration(seconds * float64(time.Second))
	o := workshop.Options{Seed: b.c.Seed, Islands: b.c.Islands, Quick: true}
	start := time.Now()
	if asked > 0 {
		o.Rounds = math.MaxInt
		o.Progress = func() float64 { return float64(time.Since(start)) / float64(asked) }
		o.Stop = func() bool { return ctx.Err() != nil || time.Since(start) >= asked }
	}
	plan, err := workshop.Solve(b.p, o)
	l := Looked{Asked: asked, Spent: time.Since(start), Cost: plan.Cost}
	if err != nil {
		return plan, l, err
	}
	plan.Bound = b.bound
	l.Gap = plan.Gap()
	b.say("  asked for %v: %v, %+v", asked, l.Spent.Round(time.Millisecond), l.Cost)
	if wrong := check.Workshop(b.p, plan); len(wrong) > 0 {
		return plan, l, fmt.Errorf("the checker refuses the plan: %v and %d more", wrong[0], len(wrong)-1)
	}
	return plan, l, nil
}

// within searches for ever longer, up to a second, until a search comes near a cost.
func (b *bench) within(ctx context.Context, cost int64) (time.Duration, error) {
	for _, ms := range []int{5, 10, 20, 50, 100, 200, 500, 1000} {
		plan, l, err := b.look(ctx, float64(ms)/1000)
		if err != nil || float64(plan.Cost.Total()) <= 1.01*float64(cost) {
			return l.Spent, err
		}
	}
	return 0, nil
}

// ill takes the plan as the last one and one person out for two days.
func (b *bench) ill(ctx context.Context, last workshop.Plan) ([]Looked, error) {
	after := *b
	after.p.Jobs = nil
	before := map[string]*workshop.Placement{}
	for i := range last.Placements {
		before[last.Placements[i].Job] = &last.Placements[i]
	}
	for _, j := range b.p.Jobs {
		j.Last = before[j.Name]
		after.p.Jobs = append(after.p.Jobs, j)
	}
	after.p.People = fallIll(b.p.People, b.p.Now)
	bounded, err := workshop.Solve(after.p, workshop.Options{})
	if err != nil {
		return nil, err
	}
	after.bound = bounded.Bound
	var all []Looked
	for _, seconds := range []float64{0, 1} {
		plan, l, err := after.look(ctx, seconds)
		if err != nil {
			return nil, err
		}
		l.JobsChanged, l.OperationsChanged = changed(before, plan)
		all = append(all, l)
	}
	return all, nil
}

func changed(before map[string]*workshop.Placement, plan workshop.Plan) (jobs, operations int) {
	for _, p := range plan.Placements {
		was := before[p.Job]
		n := len(p.Operations)
		if was != nil {
			n = 0
			for k, a := range p.Operations {
				if a.Person != was.Operations[k].Person || !a.When.Start.Equal(was.Operations[k].When.Start) {
					n++
				}
			}
		}
		operations += n
		if n > 0 || was == nil || was.Bay != p.Bay {
			jobs++
		}
	}
	return jobs, operations
}
