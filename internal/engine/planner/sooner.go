package planner

import (
	"sort"
	"time"
)

// sooner tries to begin before a job's present start, as near to it as can be: of two
// places before it the nearer one changes less.
func (b *board) sooner(job, i int, best *found) {
	s := b.shop
	c := &s.choices[job][i]
	when, ok := b.fitBack(job, c, s.times[job].start-1)
	if !ok {
		return
	}
	if cost := s.cost(job, c.bay, c.person, when).Total(); cost < best.cost {
		*best = found{i, when.start, when, cost}
	}
}

// fitBack is the latest room for a job that begins no later than a moment.
func (b *board) fitBack(job int, c *choice, latest instant) (span, bool) {
	s := b.shop
	work, release := s.work(job), s.release(job)
	for t := latest.floor(s.problem.Grid); t >= release; t = t.floor(s.problem.Grid) {
		if opens, ok := c.open.next(t); !ok || opens > t {
			n := c.open.index(t)
			if n == 0 {
				break
			}
			t = c.open.spans[n-1].end - 1
			continue
		}
		end, ok := c.open.finish(t, work)
		if !ok || end > c.expires {
			break
		}
		since := b.since(job, c, span{t, end})
		if since == forever {
			return span{t, end}, true
		}
		if t, ok = c.open.begin(since, work); !ok {
			break
		}
	}
	return span{}, false
}

// begin gives the latest moment at which work can begin that is done at t.
func (w *windows) begin(t instant, work time.Duration) (instant, bool) {
	i := w.index(t)
	target := w.before[i] - work
	if i < len(w.spans) {
		target += max(0, t.sub(w.spans[i].start))
	}
	if target < 0 {
		return 0, false
	}
	j := sort.Search(len(w.spans), func(j int) bool { return w.before[j+1] > target })
	if j == len(w.spans) {
		return 0, false
	}
	return w.spans[j].start.add(target - w.before[j]), true
}

// since is the earliest start of all that keeps a choice from a span; forever: nothing does.
func (b *board) since(job int, c *choice, within span) instant {
	s, since := b.shop, forever
	if c.bay != none {
		since = s.bays[c.bay].since(b.bays[c.bay], within)
	}
	if c.person != none {
		since = min(since, s.people[c.person].since(b.people[c.person], within))
	}
	for _, t := range c.tools {
		since = min(since, s.tools[t].since(b.tools[t], within))
	}
	if c.twice { // pieces are taken one by one: the nearest start is good enough
		if _, held := b.pick(job, c.kits, within); len(held) > 0 {
			return min(since, within.start)
		}
		return since
	}
	for _, k := range c.kits {
		last := -forever
		for _, t := range k {
			if last = max(last, s.tools[t].since(b.tools[t], within)); last == forever {
				break
			}
		}
		since = min(since, last)
	}
	return since
}

// since is the earliest start of what holds a resource in a span; forever: nothing does.
func (r *resource) since(held []hold, within span) instant {
	since := forever
	for i := range held {
		if held[i].start >= within.end {
			break
		}
		if held[i].end > within.start {
			since = min(since, held[i].start)
		}
	}
	if r.barred {
		for i := range r.blocks {
			if away := r.blocks[i].span; away.overlaps(within) {
				since = min(since, away.start)
			}
		}
	}
	return since
}
