package planner

import (
	"math"
	"slices"
)

// parts are the resources that a job's choices are made of, each once.
type parts struct {
	bays, people []choice
	kits         []choice
}

func partsOf(choices []choice) parts {
	var p parts
	for i := range choices {
		c := &choices[i]
		if !slices.ContainsFunc(p.bays, func(o choice) bool { return o.bay == c.bay }) {
			p.bays = append(p.bays, choice{bay: c.bay, person: none, expires: forever})
		}
		if !slices.ContainsFunc(p.people, func(o choice) bool { return o.person == c.person }) {
			p.people = append(p.people, choice{bay: none, person: c.person, expires: c.expires})
		}
		for n := range c.kits {
			if !slices.ContainsFunc(p.kits, func(o choice) bool { return o.kits[0][0] == c.kits[n][0] }) {
				p.kits = append(p.kits, choice{bay: none, person: none, kits: c.kits[n : n+1], expires: forever})
			}
		}
	}
	return p
}

// soonest is when a job could end if one resource alone decided, by its number; tools by
// the first of their kit.
type soonest struct {
	bay, person, kit []instant
	least            []float64 // per choice: no placement of it costs less
}

func newSoonest(s *shop) soonest {
	return soonest{
		bay: make([]instant, len(s.bays)), person: make([]instant, len(s.people)), kit: make([]instant, len(s.tools)),
	}
}

// found is where a job would lie.
type found struct {
	choice int // none: nowhere
	from   instant
	when   span
	cost   float64
}

// cheapest finds the best slot among the choices that are allowed (nil: all) and says
// what it waited for.
func (b *board) cheapest(job int, allowed func(*choice) bool) *slot {
	f := b.search(job, allowed, math.Inf(1))
	if f.choice == none {
		return nil
	}
	sl, _ := b.placed(job, b.shop.choices[job][f.choice], f.from)
	return sl
}

// search finds the cheapest place below a limit. A job that lay somewhere is tried as
// early as possible and as near after its old start as possible. Of equals the first
// choice wins. What each bay, person and kit alone allows bounds every choice from
// below, so few choices are looked at as a whole.
func (b *board) search(job int, allowed func(*choice) bool, limit float64) found {
	s := b.shop
	choices := s.choices[job]
	from := [2]instant{s.release(job)}
	tries := from[:1]
	if cur := s.jobs[job].Current; cur != nil && s.times[job].start > from[0] && !b.shies() {
		from[1] = s.times[job].start
		tries = from[:]
	}
	best := found{choice: none, cost: limit}
	first := b.bound(job, from[0], allowed, limit)
	if first == none {
		return best
	}
	b.try(job, first, tries, &best)
	for i := range choices {
		least := b.soonest.least[i]
		if i == first || least > best.cost || least == best.cost && (best.choice == none || i > best.choice) {
			continue
		}
		b.try(job, i, tries, &best)
	}
	return best
}

// try looks for room for one choice, and takes it if it is better than the best.
func (b *board) try(job, i int, from []instant, best *found) {
	s := b.shop
	c := &s.choices[job][i]
	for _, f := range from {
		limit := best.cost
		if best.choice != none && i < best.choice {
			limit = math.Nextafter(limit, math.Inf(1)) // of equals it would be the first
		}
		when, ok := b.fit(job, c, f, limit)
		if !ok {
			continue
		}
		if cost := s.cost(job, c.bay, c.person, when).Total(); cost < limit {
			*best = found{i, f, when, cost}
		}
		if b.wide {
			b.later(job, i, when, best)
		}
	}
	if b.wide && len(from) > 1 {
		b.sooner(job, i, best)
	}
}

// later tries to begin when work goes on after a break, instead of before it: the car
// does not stand opened over a night.
func (b *board) later(job, i int, first span, best *found) {
	s := b.shop
	c := &s.choices[job][i]
	least := s.endCost(job, first.end)
	for n := c.open.index(first.start) + 1; n < len(c.open.spans) && c.open.spans[n].start < first.end; n++ {
		if least >= best.cost {
			return
		}
		from := c.open.spans[n].start
		when, ok := b.fit(job, c, from, best.cost)
		if !ok {
			return
		}
		if cost := s.cost(job, c.bay, c.person, when).Total(); cost < best.cost {
			*best = found{i, from, when, cost}
		}
		least = s.endCost(job, when.end)
	}
}

// bound notes the least that each choice can cost, and gives the choice with the lowest;
// none if no choice is allowed and can cost less than limit.
func (b *board) bound(job int, from instant, allowed func(*choice) bool, limit float64) (first int) {
	s, n := b.shop, &b.soonest
	parts := &s.parts[job]
	for i := range parts.bays {
		n.bay[parts.bays[i].bay] = b.endAlone(job, &parts.bays[i], s.bays[parts.bays[i].bay].open, from, limit)
	}
	for i := range parts.people {
		n.person[parts.people[i].person] = b.endAlone(job, &parts.people[i], s.people[parts.people[i].person].open, from, limit)
	}
	for i := range parts.kits {
		tool := parts.kits[i].kits[0][0]
		n.kit[tool] = b.endAlone(job, &parts.kits[i], s.tools[tool].open, from, limit)
	}
	first, n.least = none, n.least[:0]
	booked := s.jobs[job].Current != nil
	for i := range s.choices[job] {
		c := &s.choices[job][i]
		end := max(n.bay[c.bay], n.person[c.person])
		for _, k := range c.kits {
			end = max(end, n.kit[k[0]])
		}
		least := math.Inf(1)
		if end < forever && (allowed == nil || allowed(c)) {
			if least = s.endCost(job, end); booked {
				least += s.elsewhere(job, c.bay, c.person)
			}
		}
		n.least = append(n.least, least)
		if least < limit && (first == none || least < n.least[first]) {
			first = i
		}
	}
	return first
}

// endAlone is when a job would be done if only one resource were needed; forever: never.
func (b *board) endAlone(job int, c *choice, open *windows, from instant, limit float64) instant {
	if b.blinks() {
		return forever
	}
	c2 := *c
	c2.open = open
	if when, ok := b.fit(job, &c2, from, limit); ok {
		return when.end
	}
	return forever
}

// blinks tells whether a search shall overlook something.
func (b *board) blinks() bool { return b.blinking != nil && b.blinking.IntN(1000) < blinks }

// shies tells whether a search shall not see that a job could stay where it is.
func (b *board) shies() bool { return b.blinking != nil && b.blinking.IntN(8) == 0 }

// fit is room for who does not want to know what was waited for, nor which pieces of a
// kit it is.
func (b *board) fit(job int, c *choice, from instant, limit float64) (span, bool) {
	s := b.shop
	work, grid := s.work(job), s.problem.Grid
	t := from
	for {
		opens, ok := c.open.next(t)
		if !ok {
			return span{}, false
		}
		if t = opens.ceil(grid); t > opens {
			continue // the grid may lie beyond the window
		}
		end, ok := c.open.finish(t, work)
		if !ok || end > c.expires || limit < math.MaxFloat64 && s.endCost(job, end) >= limit {
			return span{}, false
		}
		until := b.until(job, c, span{t, end})
		if until == -forever {
			return span{t, end}, true
		}
		t = until
	}
}

// until is the latest end of all that keeps a choice from a span; -forever: nothing does.
func (b *board) until(job int, c *choice, within span) instant {
	s, until := b.shop, -forever
	if c.bay != none {
		until = s.bays[c.bay].until(b.bays[c.bay], within)
	}
	if c.person != none {
		until = max(until, s.people[c.person].until(b.people[c.person], within))
	}
	for _, t := range c.tools {
		until = max(until, s.tools[t].until(b.tools[t], within))
	}
	if c.twice {
		_, held := b.pick(job, c.kits, within)
		for _, o := range held {
			until = max(until, o.span.end)
		}
		return until
	}
	for _, k := range c.kits {
		first := forever
		for _, t := range k {
			if first = min(first, s.tools[t].until(b.tools[t], within)); first == -forever {
				break
			}
		}
		until = max(until, first)
	}
	return until
}

// until is the latest end of what holds a resource in a span; -forever: nothing does.
func (r *resource) until(held []hold, within span) instant {
	until := -forever
	for i := range held {
		if held[i].start >= within.end {
			break
		}
		if held[i].end > within.start {
			until = max(until, held[i].end)
		}
	}
	if r.barred {
		for i := range r.blocks {
			if away := r.blocks[i].span; away.overlaps(within) {
				until = max(until, away.end)
			}
		}
	}
	return until
}
