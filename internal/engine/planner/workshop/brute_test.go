package workshop_test

import (
	"math"
	"slices"
	"time"

	"ramprow/internal/engine/planner"
	"ramprow/internal/engine/planner/workshop"
)

// brute tries everything, hour by hour, without any thought. It shares no code with
// the planner; costs are counted as the documentation of the weights says.
type brute struct {
	p     workshop.Problem
	hours int
	least int
	laid  []laidJob
}

type laidJob struct {
	job        *workshop.Job
	bay, way   int
	from, to   int
	operations []laidOperation
}

type laidOperation struct {
	from, to, person int
	tools            []int
}

func cheapest(p workshop.Problem) int {
	b := &brute{p: p, hours: int(p.Horizon / time.Hour), least: math.MaxInt}
	b.jobs(0)
	return b.least
}

func (b *brute) hour(t time.Time) int { return int(math.Floor(t.Sub(b.p.Now).Hours())) }

func (b *brute) open(c planner.Calendar, hour int) bool {
	t := b.p.Now.Add(time.Duration(hour) * time.Hour)
	for _, x := range c.Blocks {
		if !t.Before(x.When.Start) && t.Before(x.When.End) {
			return false
		}
	}
	for _, x := range c.Extra {
		if len(c.Shifts) > 0 && !t.Before(x.Start) && t.Before(x.End) {
			return true
		}
	}
	for _, x := range c.Shifts {
		if x.Weekday == t.Weekday() && x.From <= t.Hour()*60 && t.Hour()*60 < x.To {
			return true
		}
	}
	return len(c.Shifts) == 0
}

func (b *brute) jobs(n int) {
	if n == len(b.p.Jobs) {
		b.least = min(b.least, b.cost())
		return
	}
	b.jobs(n + 1) // without a place
	j := &b.p.Jobs[n]
	for way := range j.Ways {
		for bay, has := range b.p.Bays {
			switch {
			case j.Opened != nil && (j.Opened.Bay != has.Name || j.Opened.Way != way):
				continue
			case j.Opened == nil && (j.Bay != "" && j.Bay != has.Name || len(j.BayKinds) > 0 && !slices.Contains(j.BayKinds, has.Kind)):
				continue
			}
			b.laid = append(b.laid, laidJob{job: j, bay: bay, way: way, from: math.MaxInt})
			if j.Opened != nil {
				b.laid[len(b.laid)-1].from = b.hour(j.Opened.Since)
			}
			b.operations(n, 0)
			b.laid = b.laid[:len(b.laid)-1]
		}
	}
}

func (b *brute) operations(n, k int) {
	mine := b.laid[len(b.laid)-1]
	way := mine.job.Ways[mine.way]
	if k == len(way.Operations) {
		if b.fits(mine) {
			b.jobs(n + 1)
		}
		return
	}
	o := way.Operations[k]
	if s := o.Started; s != nil {
		who := slices.IndexFunc(b.p.People, func(h planner.Person) bool { return h.Name == s.Person })
		if to := b.end(mine.bay, who, nil, 0, int(o.Effort.Hours()), false, o.Unattended); to > 0 {
			b.lay(n, k, laidOperation{from: b.hour(s.At), to: to, person: who})
		}
		return
	}
	people := []int{-1}
	if !o.Unattended {
		people = nil
		for i, h := range b.p.People {
			if o.Person == "" || o.Person == h.Name {
				people = append(people, i)
			}
		}
	}
	tools := [][]int{nil}
	if len(o.ToolTypes) > 0 { // at most one is asked for here
		tools = nil
		for i, t := range b.p.Tools {
			if t.Type == o.ToolTypes[0] {
				tools = append(tools, []int{i})
			}
		}
	}
	for _, who := range people {
		for _, set := range tools {
			for from := range b.hours {
				to := b.end(mine.bay, who, set, from, int(o.Effort.Hours()), o.Whole, o.Unattended)
				if to > 0 && b.able(who, o, to) && (o.Start.IsZero() || b.hour(o.Start) == from) {
					b.lay(n, k, laidOperation{from, to, who, set})
				}
			}
		}
	}
}

// end counts open hours; 0: it cannot be.
func (b *brute) end(bay, who int, tools []int, from, effort int, whole, alone bool) int {
	for t := from; t < b.hours; t++ {
		open := alone || b.open(b.p.Bays[bay].Calendar, t) && b.open(b.p.People[who].Calendar, t)
		for _, x := range tools {
			open = open && (alone || b.open(b.p.Tools[x].Calendar, t))
			for _, block := range b.p.Tools[x].Calendar.Blocks {
				if at := b.p.Now.Add(time.Duration(t) * time.Hour); !at.Before(block.When.Start) && at.Before(block.When.End) {
					return 0
				}
			}
		}
		if !open && (whole || t == from && from > 0) || !open && t == from && from == 0 && whole {
			return 0
		}
		if open {
			if effort--; effort == 0 {
				return t + 1
			}
		}
	}
	return 0
}

func (b *brute) able(who int, o workshop.Operation, to int) bool {
	for _, want := range o.Skills {
		if who < 0 {
			break
		}
		if !slices.ContainsFunc(b.p.People[who].Skills, func(s planner.Skill) bool {
			return s.Name == want && (s.Expires.IsZero() || b.hour(s.Expires) >= to)
		}) {
			return false
		}
	}
	return true
}

// lay puts an operation down if it agrees with what lies there.
func (b *brute) lay(n, k int, at laidOperation) {
	mine := &b.laid[len(b.laid)-1]
	way := mine.job.Ways[mine.way]
	o := way.Operations[k]
	if o.Started == nil && mine.job.Opened == nil && at.from < b.hour(mine.job.Release) {
		return
	}
	if o.Started == nil && at.from == 0 && !o.Unattended && !b.open(b.p.People[at.person].Calendar, 0) {
		return
	}
	if o.Started == nil && at.from == 0 && !o.Unattended && !b.open(b.p.Bays[mine.bay].Calendar, 0) {
		return
	}
	for _, other := range b.laid {
		for _, x := range other.operations {
			if x.from < at.to && at.from < x.to && (at.person >= 0 && x.person == at.person ||
				len(at.tools) > 0 && len(x.tools) > 0 && x.tools[0] == at.tools[0]) {
				return
			}
		}
	}
	before := *mine
	mine.operations = append(slices.Clone(mine.operations), at)
	mine.from, mine.to = min(mine.from, at.from), max(mine.to, at.to)
	if b.lags(*mine) {
		b.operations(n, k+1)
	}
	b.laid[len(b.laid)-1] = before
}

func (b *brute) lags(mine laidJob) bool {
	for _, l := range mine.job.Ways[mine.way].Lags {
		if l.From >= len(mine.operations) || l.To >= len(mine.operations) {
			continue
		}
		apart := mine.operations[l.To].from - mine.operations[l.From].to
		if apart < int(l.Min.Hours()) || l.Max != nil && apart > int(l.Max.Hours()) {
			return false
		}
	}
	return true
}

// fits looks at the bay as a whole.
func (b *brute) fits(mine laidJob) bool {
	if mine.job.Opened == nil {
		if !mine.job.Start.IsZero() && mine.from != b.hour(mine.job.Start) {
			return false
		}
		for _, x := range b.p.Bays[mine.bay].Calendar.Blocks {
			if b.hour(x.When.Start) < mine.to && mine.from < b.hour(x.When.End) {
				return false
			}
		}
	}
	for _, other := range b.laid[:len(b.laid)-1] {
		if other.bay == mine.bay && other.from < mine.to && mine.from < other.to {
			return false
		}
	}
	return true
}

func (b *brute) cost() int {
	cost := 1_000_000_000 * (len(b.p.Jobs) - len(b.laid))
	last := 0
	for _, at := range b.laid {
		last = max(last, at.to)
		if !at.job.Due.IsZero() {
			cost += 100 * (1 + at.job.Priority) * max(0, at.to-b.hour(at.job.Due))
		}
		idle := at.to - at.from
		way := at.job.Ways[at.way]
		for k, o := range way.Operations {
			idle -= int(o.Effort.Hours())
			x := at.operations[k]
			for t := max(0, x.from); x.person >= 0 && t < x.to; t++ {
				c := b.p.People[x.person].Calendar
				usual := planner.Calendar{Shifts: c.Shifts, Blocks: c.Blocks}
				if b.open(b.p.Bays[at.bay].Calendar, t) && b.open(c, t) && !b.open(usual, t) &&
					(len(x.tools) == 0 || b.open(b.p.Tools[x.tools[0]].Calendar, t)) {
					cost += 10
				}
			}
		}
		cost += 2*max(0, idle) + 12*b.changed(at)
	}
	return cost + last
}

func (b *brute) changed(at laidJob) (n int) {
	l := at.job.Last
	if l == nil {
		return 0
	}
	if l.Bay != b.p.Bays[at.bay].Name || l.Way != at.way {
		n++
	}
	for k, x := range at.operations {
		who := ""
		if x.person >= 0 {
			who = b.p.People[x.person].Name
		}
		if l.Way != at.way || b.hour(l.Operations[k].When.Start) != x.from || l.Operations[k].Person != who {
			n++
		}
	}
	return n
}
