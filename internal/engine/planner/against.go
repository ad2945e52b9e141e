package planner

import (
	"fmt"
	"slices"
)

// against gives the facts that forbid a choice: at the wished start if there is
// one, at any time of the horizon otherwise. None: it can be granted.
func (b *board) against(job int, c choice) []Fact {
	s := b.shop
	w := s.jobs[job].Wish
	if w == nil || w.Start.IsZero() {
		return b.againstEver(job, c)
	}
	start := at(w.Start)
	if start < s.now {
		return []Fact{{Kind: FactPast, Text: s.clock(start) + " has passed"}}
	}
	var facts []Fact
	if r := s.release(job); start < r {
		why := orElse(s.jobs[job].ReleaseWhy, "it may start")
		facts = append(facts, Fact{Kind: FactNotReleased, Text: fmt.Sprintf("it cannot start before %s, when %s", s.clock(r), why)})
	}
	for _, r := range s.used(c) {
		if opens, ok := r.open.next(start); !ok || opens > start {
			facts = append(facts, s.closed(r, start)...)
		}
	}
	end, ok := c.open.finish(start, s.work(job))
	if !ok {
		return append(facts, s.noRoom(c))
	}
	if end > c.expires {
		facts = append(facts, s.expired(c))
	}
	for _, o := range b.obstacles(c, span{start, end}) {
		if f, ok := b.hard(o); ok && !slices.Contains(facts, f) {
			facts = append(facts, f)
		}
	}
	return facts
}

// closed says why a resource is not there at a moment: it is away, or its shifts are
// elsewhere, or both.
func (s *shop) closed(r resource, at instant) (facts []Fact) {
	for _, away := range r.blocks {
		if away.start <= at && at < away.end {
			facts = append(facts, s.blocked(r.name, away.span, away.why))
			break
		}
	}
	usual := s.calendarOf(r.name)
	usual.Blocks = nil
	if len(facts) == 0 || len(usual.open(span{at, at + 1}, s.zone).spans) == 0 {
		facts = append(facts, Fact{Kind: FactClosed, Resource: r.name, Text: fmt.Sprintf("%s is not there at %s", r.name, s.clock(at))})
	}
	return facts
}

func (s *shop) calendarOf(name string) Calendar {
	for _, b := range s.problem.Bays {
		if b.Name == name {
			return b.Calendar
		}
	}
	for _, h := range s.problem.People {
		if h.Name == name {
			return h.Calendar
		}
	}
	for _, t := range s.problem.Tools {
		if t.Name == name {
			return t.Calendar
		}
	}
	return Calendar{}
}

func (s *shop) blocked(name string, when span, why string) Fact {
	return Fact{
		Kind: FactBlocked, Resource: name,
		Text: fmt.Sprintf("%s is away from %s to %s (%s)", name, s.clock(when.start), s.clock(when.end), why),
	}
}

// againstEver is against without a start.
func (b *board) againstEver(job int, c choice) []Fact {
	s := b.shop
	start, ok := c.open.next(s.release(job))
	if !ok {
		return []Fact{s.noRoom(c)}
	}
	if end, ok := c.open.finish(start, s.work(job)); ok && end > c.expires {
		return []Fact{s.expired(c)}
	}
	return []Fact{s.noRoom(c)}
}

func (s *shop) expired(c choice) Fact {
	who := s.people[c.person].name
	return Fact{Kind: FactExpired, Resource: who, Text: fmt.Sprintf("the licence %s of %s ends at %s", c.licence, who, s.clock(c.expires))}
}

func (s *shop) noRoom(c choice) Fact {
	who := s.people[c.person].name
	return Fact{Kind: FactNoRoom, Resource: who, Text: fmt.Sprintf("%s has no room for it before %s", who, s.clock(s.extent.end))}
}

// hard turns an obstacle into a fact, if nothing may push it.
func (b *board) hard(o obstacle) (Fact, bool) {
	s := b.shop
	if o.job == none {
		return s.blocked(o.resource, o.span, o.why), true
	}
	if !b.slots[o.job].fixed {
		return Fact{}, false
	}
	j := s.jobs[o.job]
	state := "pinned"
	if j.Started != nil {
		state = "begun"
	}
	return Fact{
		Kind: FactHeld, Resource: o.resource, Job: j.Name,
		Text: fmt.Sprintf("%s held by %s (%s) from %s to %s", o.resource, j.Name, state, s.clock(o.span.start), s.clock(o.span.end)),
	}, true
}

// coverTries bounds the search for the smallest set.
const coverTries = 20_000

// cover finds the smallest set of facts with at least one of every choice. Where that
// takes too long it is the greedy set, of which none is needless.
func cover(perChoice [][]Fact) []Fact {
	best := coverQuickly(perChoice)
	tries := coverTries
	var search func(picked []Fact)
	search = func(picked []Fact) {
		if tries--; tries < 0 || len(picked) >= len(best) {
			return
		}
		i := slices.IndexFunc(perChoice, func(facts []Fact) bool {
			return !slices.ContainsFunc(facts, func(f Fact) bool { return slices.Contains(picked, f) })
		})
		if i < 0 {
			best = slices.Clone(picked)
			return
		}
		for _, f := range perChoice[i] {
			search(append(picked, f))
		}
	}
	search(nil)
	return best
}

// coverQuickly takes the fact that most choices share first, then leaves out those that
// the others make needless.
func coverQuickly(perChoice [][]Fact) []Fact {
	var picked []Fact
	has := func(facts []Fact) bool {
		return slices.ContainsFunc(facts, func(f Fact) bool { return slices.Contains(picked, f) })
	}
	for {
		counts := map[Fact]int{}
		var most Fact
		for _, facts := range perChoice {
			if has(facts) {
				continue
			}
			for _, f := range facts {
				counts[f]++
			}
		}
		for _, facts := range perChoice { // in the order of the choices, so equals are decided alike
			for _, f := range facts {
				if counts[f] > counts[most] {
					most = f
				}
			}
		}
		if counts[most] == 0 {
			return withoutNeedless(picked, perChoice)
		}
		picked = append(picked, most)
	}
}

func withoutNeedless(picked []Fact, perChoice [][]Fact) []Fact {
	for i := len(picked) - 1; i >= 0; i-- {
		rest := slices.Delete(slices.Clone(picked), i, i+1)
		covered := true
		for _, facts := range perChoice {
			covered = covered && slices.ContainsFunc(facts, func(f Fact) bool { return slices.Contains(rest, f) })
		}
		if covered {
			picked = rest
		}
	}
	return picked
}
