package workshop

import (
	"cmp"
	"math"
	"slices"
	"sort"
)

const (
	// gapsTried bounds in how many gaps of bays a job is tried once it has a place,
	// morningsTried how many later mornings count as the start of a gap.
	gapsTried     = 10
	morningsTried = 4
	// lagRounds bounds how often a job is begun anew because a most lag did not hold.
	lagRounds = 40
)

// gap is a time in which a bay is free.
type gap struct {
	bay int
	span
}

// place finds a good place for a job among what lies there; nil: there is none.
func (b *board) place(job, last int) *placed {
	s, j := b.s, &b.s.jobs[job]
	var best *placed
	least := int64(forever)
	for w := range j.ways {
		if j.opened && w != j.openWay {
			continue
		}
		tried := 0
		before := 0 // when the same start ended in a bay like this one
		from := gap{bay: none}
		for _, g := range b.gaps(job, &j.ways[w]) {
			end := g.start + j.ways[w].least
			if best != nil && (tried >= gapsTried || j.late(end)+b.worth(end, last) > least) {
				break
			}
			if from.bay != none && from.start == g.start && s.kindOf[from.bay] == s.kindOf[g.bay] && before <= g.end {
				continue
			}
			within := g
			within.end = min(g.end, b.latestWorth(j, least, last))
			p := b.inGap(job, w, within, last)
			if p == nil {
				continue
			}
			tried++
			before, from = p.close, g
			if worth := p.cost + b.worth(p.close, last); best == nil || cmp.Or(cmp.Compare(worth, least), cmp.Compare(p.close, best.close)) < 0 {
				b.leave(best)
				best, least = p, worth
			} else {
				b.leave(p)
			}
		}
	}
	return best
}

// worth is what an end costs beyond the job's own cost: the makespan that it makes
// longer, and what it is pulled by.
func (b *board) worth(end, last int) int64 {
	return weightMakespan*int64(max(0, end-last)) + b.pull*int64(end)/64
}

// latestWorth is the latest end at which a job does not cost more than so much already.
func (b *board) latestWorth(j *job, least int64, last int) int {
	end := min(int64(j.due)+least/j.weight, int64(last)+least/weightMakespan)
	if b.pull > 0 {
		end = min(end, 64*(least+1)/b.pull)
	}
	return int(end)
}

// inGap lays a job out in a gap: within the shifts, and if that is late or holds the
// bay longer than it is worked in, with overtime too.
func (b *board) inGap(job, w int, g gap, last int) *placed {
	var best *placed
	for _, plain := range []bool{true, false} {
		if plain && !b.s.overtimes {
			continue
		}
		b.plain = plain
		p := b.forward(job, w, g)
		if p != nil {
			b.tighten(job, p)
			p.cost = b.s.costOf(job, p)
			if best == nil || p.cost+b.worth(p.close, last) < best.cost+b.worth(best.close, last) {
				b.leave(best)
				best = p
			} else {
				b.leave(p)
			}
			if plain && best.cost < weightOvertime && best.close <= last { // overtime costs more than it could spare
				break
			}
		}
	}
	b.plain = false
	return best
}

// gaps gives where the bays are free for long enough, by start.
func (b *board) gaps(job int, w *way) []gap {
	j := &b.s.jobs[job]
	if j.opened {
		return []gap{{j.bays[0], span{0, b.s.horizon}}}
	}
	var all []gap
	for _, bay := range j.bays {
		at := j.release
		note := func(until int) {
			if until-at < w.least {
				return
			}
			all = append(all, gap{bay, span{at, until}})
			if i, last := sort.SearchInts(b.s.mornings, at+1), 0; j.pin == none {
				for ; last < morningsTried && i+last < len(b.s.mornings) && b.s.mornings[i+last]+w.least <= until; last++ {
					all = append(all, gap{bay, span{b.s.mornings[i+last], until}})
				}
			}
		}
		for _, held := range b.walls(bay) {
			note(held.start)
			at = max(at, held.end)
		}
		note(b.s.horizon)
	}
	slices.SortStableFunc(all, func(x, y gap) int { return cmp.Or(x.start-y.start, x.end-y.end) })
	return all
}

// walls are a bay's bookings and blocks, by start.
func (b *board) walls(bay int) []span {
	var all []span
	for _, held := range b.bays[bay] {
		all = append(all, held.span)
	}
	if blocks := b.s.bays[bay].blocks; len(blocks) > 0 {
		all = append(all, blocks...)
		slices.SortFunc(all, func(x, y span) int { return x.start - y.start })
	}
	return all
}

// forward lays out the operations in a gap, each as early as it can be; nil: they do not fit.
func (b *board) forward(job, w int, g gap) *placed {
	way := &b.s.jobs[job].ways[w]
	lower := b.lower[:0]
	for range way.ops {
		lower = append(lower, g.start)
	}
	b.lower = lower
	for range lagRounds {
		p, again := b.layOut(job, w, g, lower)
		if !again {
			return p
		}
	}
	return nil
}

// layOut is one try of forward. If a most lag does not hold, lower is raised for the
// operation that was too early, and again tells so.
func (b *board) layOut(job, w int, g gap, lower []int) (p *placed, again bool) {
	j := &b.s.jobs[job]
	way := &j.ways[w]
	p = b.blank(w, g.bay, len(way.ops))
	if j.opened {
		p.open = j.since
	}
	laid := b.laid[:0]
	for _, k := range way.order {
		from := lower[k]
		if j.pin != none {
			from = max(from, j.pin)
		}
		for _, l := range way.in[k] {
			from = max(from, p.ops[l.op].end+l.least)
		}
		at, ok := b.soonest(&way.ops[k], p, laid, from, g.end-way.tail[k])
		if !ok {
			b.leave(p)
			return nil, false
		}
		for _, l := range way.in[k] {
			if late := at.start - p.ops[l.op].end - l.most; late > 0 {
				lower[l.op] = p.ops[l.op].start + late
				b.leave(p)
				return nil, true
			}
		}
		p.ops[k] = at
		p.open, p.close = min(p.open, at.start), max(p.close, at.end)
		laid = append(laid, k)
	}
	b.laid = laid
	if j.pin != none && !j.opened && p.open != j.pin {
		b.leave(p)
		return nil, false
	}
	return p, false
}

// soonest finds who can be done first with an operation, not before from nor after until.
func (b *board) soonest(o *op, p *placed, laid []int, from, until int) (best spot, ok bool) {
	if o.started != nil {
		at := *o.started
		work := o.effort
		end, fits := b.s.together(p.bay, at.person, at.tools).earliest(0, work, false)
		at.end = end.end
		return at, fits && at.end <= until
	}
	if o.pin != none {
		if from > o.pin {
			return spot{}, false
		}
		from = o.pin
	}
	for i := range o.modes {
		m := &o.modes[i]
		limit := min(until, m.expires)
		if ok {
			limit = min(limit, best.end-1)
		}
		if when, found := b.fit(o, m, p, laid, from, limit); found && (o.pin == none || when.start == o.pin) {
			best, ok = spot{when, m.person, m.tools}, true
			if when.end == from+o.effort {
				break // nobody is done sooner
			}
		}
	}
	return best, ok
}

// fit gives the first span from a time on at which a mode is free, ending by limit. It
// jumps from what is in the way to its end, and reads the person's work once from there.
func (b *board) fit(o *op, m *mode, p *placed, laid []int, from, limit int) (span, bool) {
	open := m.open[b.s.kindOf[p.bay]]
	var held []busy
	if m.person != none {
		held = b.people[m.person]
	}
	next := after(held, from)
	for {
		when, ok := open.earliest(from, o.effort, o.whole)
		if !ok || when.end > limit {
			return span{}, false
		}
		for next < len(held) && held[next].end <= when.start {
			next++
		}
		until := when.start
		for ; next < len(held) && held[next].start < when.end; next++ {
			until = held[next].end
		}
		if until == when.start {
			if until = b.taken(m, p, laid, when); until == when.start {
				return when, true
			}
		}
		from = until
	}
}

// taken gives until when something but other work of its person keeps a mode from a
// span; its start: nothing does.
func (b *board) taken(m *mode, p *placed, laid []int, when span) int {
	until := when.start
	if b.plain && m.person != none {
		for _, extra := range b.s.people[m.person].overtime {
			if extra.overlaps(when) {
				until = max(until, extra.end)
			}
		}
	}
	for _, t := range m.tools {
		if u, taken := clash(b.tools[t], when); taken {
			until = max(until, u)
		}
		for _, away := range b.s.tools[t].blocks {
			if away.overlaps(when) {
				until = max(until, away.end)
			}
		}
	}
	if p.close <= when.start { // all that is laid ends before
		return until
	}
	for _, k := range laid {
		if at := &p.ops[k]; at.overlaps(when) && m.shares(at) {
			until = max(until, at.end)
		}
	}
	return until
}

// shares tells whether an operation has the mode's person or one of its tools.
func (m *mode) shares(at *spot) bool {
	return m.person != none && at.person == m.person ||
		slices.ContainsFunc(m.tools, func(t int) bool { return slices.Contains(at.tools, t) })
}

// tighten moves operations to the right as far as the end of the job stays, so that
// its bay is held no longer than needed.
func (b *board) tighten(job int, p *placed) {
	j := &b.s.jobs[job]
	if j.opened || j.pin != none {
		return
	}
	way := &j.ways[p.way]
	for _, k := range slices.Backward(way.order) {
		o, at := &way.ops[k], p.ops[k]
		if o.pin != none || at.end == p.close {
			continue
		}
		until := p.close
		for _, l := range way.out[k] {
			until = min(until, p.ops[l.op].start-l.least)
		}
		last := forever
		for _, l := range way.in[k] {
			if l.most < forever {
				last = min(last, p.ops[l.op].end+l.most)
			}
		}
		if when, ok := b.fitBefore(o, k, p, until, last); ok && when.start > at.start {
			p.ops[k].span = when
		}
	}
	p.open = math.MaxInt
	for _, at := range p.ops {
		p.open = min(p.open, at.start)
	}
}

// fitBefore gives the last span up to a time at which an operation's person and tools
// are free, that does not start after last.
func (b *board) fitBefore(o *op, k int, p *placed, until, last int) (span, bool) {
	at := p.ops[k]
	i := slices.IndexFunc(o.modes, func(m mode) bool { return m.person == at.person && slices.Equal(m.tools, at.tools) })
	if i < 0 {
		return span{}, false // it has begun
	}
	m := o.modes[i]
	until = min(until, m.expires)
	open := m.open[b.s.kindOf[p.bay]]
	for {
		when, ok := open.latest(until, o.effort, o.whole)
		if !ok || when.start <= at.start {
			return span{}, false
		}
		from, taken := b.takenBefore(&m, k, p, when)
		switch {
		case taken:
			until = from
		case when.start > last:
			until = when.end - 1
		default:
			return when, true
		}
	}
}

func (b *board) takenBefore(m *mode, k int, p *placed, when span) (from int, taken bool) {
	from = math.MaxInt
	note := func(f int, t bool) {
		if t {
			from, taken = min(from, f), true
		}
	}
	if m.person != none {
		note(clashBefore(b.people[m.person], when))
	}
	if b.plain && m.person != none {
		for _, extra := range b.s.people[m.person].overtime {
			note(extra.start, extra.overlaps(when))
		}
	}
	for _, t := range m.tools {
		note(clashBefore(b.tools[t], when))
		for _, away := range b.s.tools[t].blocks {
			note(away.start, away.overlaps(when))
		}
	}
	for other := range p.ops {
		at := &p.ops[other]
		if other != k && at.overlaps(when) && m.shares(at) {
			note(at.start, true)
		}
	}
	return from, taken
}

// again puts a job exactly where it lay in the last plan, if that is still possible.
func (b *board) again(job int) *placed {
	j := &b.s.jobs[job]
	last := j.last
	if last == nil || last.bay == none || !slices.Contains(j.bays, last.bay) || j.opened && last.way != j.openWay {
		return nil
	}
	way := &j.ways[last.way]
	p := &placed{way: last.way, bay: last.bay, open: math.MaxInt, ops: make([]spot, len(way.ops))}
	if j.opened {
		p.open = j.since
	}
	var laid []int
	for _, k := range way.order {
		at, ok := b.asLast(&way.ops[k], last.ops[k], p, laid)
		if !ok || at.start < j.release && way.ops[k].started == nil {
			return nil
		}
		for _, l := range way.in[k] {
			if apart := at.start - p.ops[l.op].end; apart < l.least || apart > l.most {
				return nil
			}
		}
		p.ops[k] = at
		p.open, p.close = min(p.open, at.start), max(p.close, at.end)
		laid = append(laid, k)
	}
	if p.close > b.s.horizon || j.pin != none && !j.opened && p.open != j.pin {
		return nil
	}
	held := span{p.open, p.close}
	if _, taken := clash(b.bays[p.bay], held); taken {
		return nil
	}
	if !j.opened && slices.ContainsFunc(b.s.bays[p.bay].blocks, held.overlaps) {
		return nil
	}
	p.cost = b.s.costOf(job, p)
	return p
}

// asLast is an operation as it lay, with its end as it is now.
func (b *board) asLast(o *op, last spot, p *placed, laid []int) (spot, bool) {
	if o.started != nil {
		return b.soonest(o, p, laid, 0, b.s.horizon)
	}
	if o.pin != none && o.pin != last.start || last.start < 0 {
		return spot{}, false
	}
	for i := range o.modes {
		m := &o.modes[i]
		if m.person != last.person || !slices.Equal(m.tools, last.tools) {
			continue
		}
		when, ok := b.fit(o, m, p, laid, last.start, min(b.s.horizon, m.expires))
		return spot{when, m.person, m.tools}, ok && when.start == last.start
	}
	return spot{}, false
}
