package check

import (
	"slices"
	"time"

	"ramprow/internal/engine/planner"
	"ramprow/internal/engine/planner/workshop"
)

// Workshop gives everything that is wrong with a plan of operations; nil if it is
// possible and costs what it says.
func Workshop(p workshop.Problem, plan workshop.Plan) []Violation {
	c := &operationChecker{
		checker: checker{problem: planner.Problem{Now: p.Now, Bays: p.Bays, People: p.People, Tools: p.Tools}, zone: p.Zone},
		p:       p, grid: p.Grid,
	}
	if c.zone == nil {
		c.zone = time.UTC
	}
	if c.grid <= 0 {
		c.grid = workshop.DefaultGrid
	}
	answered := slices.Clone(plan.Unplaced)
	for _, placed := range plan.Placements {
		answered = append(answered, placed.Job)
	}
	var asked []string
	for _, j := range p.Jobs {
		asked = append(asked, j.Name)
	}
	if !slices.Equal(sorted(answered), sorted(asked)) {
		c.wrong("plan", "answers %v of %v", answered, asked)
		return c.found
	}
	for _, placed := range plan.Placements {
		c.job(c.p.Jobs[slices.IndexFunc(p.Jobs, func(j workshop.Job) bool { return j.Name == placed.Job })], placed)
	}
	c.noneTwice(plan.Placements)
	c.costs(plan)
	return c.found
}

type operationChecker struct {
	checker
	p    workshop.Problem
	grid time.Duration
}

// job: the bay suits and is held from the first start to the last end, and each operation is as it must be.
func (c *operationChecker) job(j workshop.Job, at workshop.Placement) {
	bay, ok := c.bay(at.Bay)
	opened := j.Opened
	if !ok || opened == nil && len(j.BayKinds) > 0 && !slices.Contains(j.BayKinds, bay.Kind) {
		c.wrong(j.Name, "is in %q, which does not suit", at.Bay)
	}
	if j.Bay != "" && at.Bay != j.Bay && opened == nil || opened != nil && (opened.Bay != at.Bay || opened.Way != at.Way) {
		c.wrong(j.Name, "is pinned to %s and lies in %s by way %d", j.Bay, at.Bay, at.Way)
	}
	if at.Way < 0 || at.Way >= len(j.Ways) || len(j.Ways[at.Way].Operations) != len(at.Operations) {
		c.wrong(j.Name, "is done by way %d with %d operations", at.Way, len(at.Operations))
		return
	}
	way := j.Ways[at.Way]
	first, last := at.Operations[0].When.Start, at.Operations[0].When.End
	for k, a := range at.Operations {
		c.operation(j, way.Operations[k], at, a)
		first, last = earlier(first, a.When.Start), later(last, a.When.End)
	}
	if opened != nil {
		first = opened.Since
	} else {
		c.closedCar(j, bay, at, first)
	}
	if !at.When.Start.Equal(first) || !at.When.End.Equal(last) {
		c.wrong(j.Name, "holds its bay %v, and its work lies from %v to %v", at.When, first, last)
	}
	c.apart(j, way, at)
}

// closedCar: one that was not opened before starts when it shall, and never lies over a block.
func (c *operationChecker) closedCar(j workshop.Job, bay planner.Bay, at workshop.Placement, first time.Time) {
	if !j.Start.IsZero() && !first.Equal(j.Start) {
		c.wrong(j.Name, "is pinned to %v and starts at %v", j.Start, first)
	}
	for _, b := range bay.Calendar.Blocks {
		if b.When.Start.Before(at.When.End) && at.When.Start.Before(b.When.End) {
			c.wrong(j.Name, "lies over the block %q", b.Why)
		}
	}
}

// apart: the least and most times between operations hold.
func (c *operationChecker) apart(j workshop.Job, way workshop.Way, at workshop.Placement) {
	for _, l := range way.Lags {
		apart := at.Operations[l.To].When.Start.Sub(at.Operations[l.From].When.End)
		if way.Operations[l.To].Started == nil && (apart < l.Min || l.Max != nil && apart > *l.Max) {
			c.wrong(j.Name, "has %v between operations %d and %d", apart, l.From, l.To)
		}
	}
}

func (c *operationChecker) operation(j workshop.Job, o workshop.Operation, at workshop.Placement, a workshop.Assignment) {
	if s := o.Started; s != nil {
		if !a.When.Start.Equal(s.At) || a.Person != s.Person || !slices.Equal(a.Tools, s.Tools) {
			c.wrong(j.Name, "has begun %s as %v and now has %v", o.Name, s, a)
		}
	} else {
		c.mayStart(j, o, a)
		c.hasHands(j, o, a)
	}
	if o.Unattended {
		if a.When.End.Sub(a.When.Start) < o.Effort || a.Person != "" {
			c.wrong(j.Name, "%s runs by itself for %v and lies at %v with %q", o.Name, o.Effort, a.When, a.Person)
		}
		return
	}
	c.hasTime(j, o, at, a)
}

func (c *operationChecker) mayStart(j workshop.Job, o workshop.Operation, a workshop.Assignment) {
	if a.When.Start.Before(c.p.Now) || j.Opened == nil && a.When.Start.Before(j.Release) {
		c.wrong(j.Name, "%s starts at %v, before it may", o.Name, a.When.Start)
	}
	if !o.Start.IsZero() && !a.When.Start.Equal(o.Start) || o.Person != "" && a.Person != o.Person {
		c.wrong(j.Name, "%s is pinned to %v with %q and lies at %v with %s", o.Name, o.Start, o.Person, a.When, a.Person)
	}
}

// hasHands: the person is able until the end, and there is one piece of every tool.
func (c *operationChecker) hasHands(j workshop.Job, o workshop.Operation, a workshop.Assignment) {
	var types []string
	for _, name := range a.Tools {
		tool, _ := c.tool(name)
		types = append(types, tool.Type)
		for _, b := range tool.Calendar.Blocks {
			if b.When.Start.Before(a.When.End) && a.When.Start.Before(b.When.End) {
				c.wrong(j.Name, "%s has %s over the block %q", o.Name, name, b.Why)
			}
		}
	}
	if !slices.Equal(sorted(types), sorted(o.ToolTypes)) {
		c.wrong(j.Name, "%s needs the tools %v and has %v", o.Name, o.ToolTypes, a.Tools)
	}
	if o.Unattended {
		return
	}
	person, ok := c.person(a.Person)
	if !ok {
		c.wrong(j.Name, "%s is with %q, whom nobody knows", o.Name, a.Person)
	}
	for _, want := range o.Skills {
		if !slices.ContainsFunc(person.Skills, func(s planner.Skill) bool {
			return s.Name == want && (s.Expires.IsZero() || !s.Expires.Before(a.When.End))
		}) {
			c.wrong(j.Name, "%s needs %s, which %s has not", o.Name, want, a.Person)
		}
	}
}

// hasTime: there is as much working time as effort, from now on; it begins with work,
// and is not left if it must not be.
func (c *operationChecker) hasTime(j workshop.Job, o workshop.Operation, at workshop.Placement, a workshop.Assignment) {
	from := a.When.Start
	if o.Started != nil {
		from = c.p.Now
	}
	calendars := c.calendars(planner.Placement{Bay: at.Bay, Person: a.Person, Tools: a.Tools})
	moments := c.changes(calendars, from, a.When.End)
	var worked time.Duration
	for i := 1; i < len(moments); i++ {
		there := c.allOpen(calendars, moments[i-1].Add(moments[i].Sub(moments[i-1])/2))
		if there {
			worked += moments[i].Sub(moments[i-1])
		}
		if !there && (o.Whole || i == 1) && o.Started == nil {
			c.wrong(j.Name, "%s lies at %v, when nobody can work at it", o.Name, moments[i-1])
		}
	}
	if worked < o.Effort {
		c.wrong(j.Name, "%s has %v of working time for %v of work", o.Name, worked, o.Effort)
	}
}

// noneTwice: no bay, person or tool is in two places.
func (c *operationChecker) noneTwice(all []workshop.Placement) {
	type held struct {
		job  string
		when planner.Interval
	}
	holds := map[string][]held{}
	for _, p := range all {
		holds[p.Bay] = append(holds[p.Bay], held{p.Job, p.When})
		for _, a := range p.Operations {
			for _, name := range append(slices.Clone(a.Tools), a.Person) {
				if name != "" {
					holds[name] = append(holds[name], held{p.Job, a.When})
				}
			}
		}
	}
	for name, list := range holds {
		for i, a := range list {
			for _, b := range list[i+1:] {
				if c.ahead(a.when.Start).Before(b.when.End) && c.ahead(b.when.Start).Before(a.when.End) {
					c.wrong(a.job, "and %s both hold %s at %v", b.job, name, b.when.Start)
				}
			}
		}
	}
}

// The weights of the cost for each tick, as workshop documents them.
const (
	lateTick, overtimeTick, deadTick, changed, makespanTick = 100, 10, 2, 12, 1
)

// costs are counted anew.
func (c *operationChecker) costs(plan workshop.Plan) {
	var want workshop.Cost
	for _, p := range plan.Placements {
		j := c.p.Jobs[slices.IndexFunc(c.p.Jobs, func(j workshop.Job) bool { return j.Name == p.Job })]
		if !j.Due.IsZero() {
			want.Late += lateTick * int64(1+min(max(j.Priority, 0), planner.MaxPriority)) * c.ticks(p.When.End.Sub(c.onGrid(j.Due)))
		}
		idle := c.ticks(p.When.End.Sub(p.When.Start))
		for k, o := range j.Ways[p.Way].Operations {
			idle -= max(1, c.ticks(o.Effort))
			want.Overtime += overtimeTick * c.extra(p, p.Operations[k])
		}
		want.Dead += deadTick * max(0, idle)
		want.Change += changed * c.changed(j, p)
		want.Makespan = max(want.Makespan, makespanTick*c.ticks(p.When.End.Sub(c.p.Now)))
	}
	want.Unplaced = len(plan.Unplaced)
	if plan.Cost != want {
		c.wrong("plan", "says that it costs %+v, and costs %+v", plan.Cost, want)
	}
	if plan.Bound > want.Total() {
		c.wrong("plan", "costs %d, less than its bound of %d", want.Total(), plan.Bound)
	}
}

// onGrid gives the last tick not after a time.
func (c *operationChecker) onGrid(t time.Time) time.Time {
	past := t.Sub(c.p.Now) % c.grid
	if past < 0 {
		past += c.grid
	}
	return t.Add(-past)
}

func (c *operationChecker) ticks(d time.Duration) int64 {
	if d <= 0 {
		return 0
	}
	return int64((d + c.grid - 1) / c.grid)
}

// extra counts the ticks of work beyond a person's shifts.
func (c *operationChecker) extra(p workshop.Placement, a workshop.Assignment) int64 {
	person, ok := c.person(a.Person)
	if !ok || len(person.Calendar.Extra) == 0 {
		return 0
	}
	usual := person.Calendar
	usual.Extra = nil
	calendars := c.calendars(planner.Placement{Bay: p.Bay, Person: a.Person, Tools: a.Tools})
	var n int64
	for t := c.ahead(a.When.Start); t.Before(a.When.End); t = t.Add(c.grid) {
		if c.allOpen(calendars, t) && !c.open(usual, t) {
			n++
		}
	}
	return n
}

// changed counts what differs from the last plan.
func (c *operationChecker) changed(j workshop.Job, p workshop.Placement) (n int64) {
	l := j.Last
	if l == nil {
		return 0
	}
	if l.Bay != p.Bay || l.Way != p.Way {
		n++
	}
	for k, a := range p.Operations {
		if l.Way != p.Way || k >= len(l.Operations) || !l.Operations[k].When.Start.Equal(a.When.Start) || l.Operations[k].Person != a.Person {
			n++
		}
	}
	return n
}

func earlier(a, b time.Time) time.Time {
	if b.Before(a) {
		return b
	}
	return a
}

func later(a, b time.Time) time.Time {
	if a.Before(b) {
		return b
	}
	return a
}
