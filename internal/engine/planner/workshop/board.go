package workshop

import (
	"math"
	"slices"
)

// busy is a span that a job holds.
type busy struct {
	span
	job int
}

// board is a plan in the making.
type board struct {
	s                   *shop
	at                  []*placed // per job; nil: no place
	bays, people, tools [][]busy
	// plain keeps work out of overtime.
	plain bool
	// pull is what an earlier end is worth, in 64ths of a tick of the makespan: a job that
	// ends early leaves room for those that come after it, which its own cost does not tell.
	pull int64
	// spare are placements that were tried and left, laid and lower are for one try: most
	// of what is laid out is thrown away at once.
	spare       []*placed
	laid, lower []int
}

// blank is a placement to be laid out, of so many operations.
func (b *board) blank(way, bay, operations int) *placed {
	p := &placed{}
	if n := len(b.spare); n > 0 {
		p, b.spare = b.spare[n-1], b.spare[:n-1]
	}
	*p = placed{way: way, bay: bay, open: math.MaxInt, ops: slices.Grow(p.ops[:0], operations)[:operations]}
	return p
}

// leave gives back a placement that nobody will use.
func (b *board) leave(p *placed) {
	if p != nil {
		b.spare = append(b.spare, p)
	}
}

func newBoard(s *shop) *board {
	return &board{
		s: s, at: make([]*placed, len(s.jobs)),
		bays: make([][]busy, len(s.bays)), people: make([][]busy, len(s.people)), tools: make([][]busy, len(s.tools)),
	}
}

// boardOf lays out a whole plan.
func (s *shop) boardOf(at []*placed) *board {
	b := newBoard(s)
	for job, p := range at {
		if p != nil {
			b.put(job, p)
		}
	}
	return b
}

func (b *board) put(job int, p *placed) {
	b.at[job] = p
	b.each(p, func(held *[]busy, when span) {
		i, _ := slices.BinarySearchFunc(*held, when.start, func(e busy, t int) int { return e.start - t })
		*held = slices.Insert(*held, i, busy{when, job})
	})
}

func (b *board) take(job int) *placed {
	p := b.at[job]
	if p == nil {
		return nil
	}
	b.each(p, func(held *[]busy, when span) {
		i, _ := slices.BinarySearchFunc(*held, when.start, func(e busy, t int) int { return e.start - t })
		*held = slices.Delete(*held, i, i+1)
	})
	b.at[job] = nil
	return p
}

func (b *board) each(p *placed, do func(held *[]busy, when span)) {
	do(&b.bays[p.bay], span{p.open, p.close})
	for _, at := range p.ops {
		if at.person != none {
			do(&b.people[at.person], at.span)
		}
		for _, t := range at.tools {
			do(&b.tools[t], at.span)
		}
	}
}

// after gives the first of what holds a resource that ends later than t. It is asked
// more often than anything else, so it searches by itself.
func after(held []busy, t int) int {
	low, high := 0, len(held)
	for low < high {
		if middle := (low + high) / 2; held[middle].end <= t {
			low = middle + 1
		} else {
			high = middle
		}
	}
	return low
}

// clash gives when the last of what holds a resource in a span ends; zero: it is free.
func clash(held []busy, when span) (until int, taken bool) {
	i := after(held, when.start)
	for ; i < len(held) && held[i].start < when.end; i++ {
		until, taken = held[i].end, true
	}
	return until, taken
}

// clashBefore gives when the first of what holds a resource in a span starts.
func clashBefore(held []busy, when span) (from int, taken bool) {
	i := after(held, when.start)
	if i < len(held) && held[i].start < when.end {
		return held[i].start, true
	}
	return 0, false
}

// last is when the last job ends.
func (b *board) last() int {
	last := 0
	for _, p := range b.at {
		if p != nil {
			last = max(last, p.close)
		}
	}
	return last
}

// total is the cost of everything.
func (b *board) total() int64 {
	var sum int64
	last := 0
	for _, p := range b.at {
		if p == nil {
			sum += unplaced
			continue
		}
		sum += p.cost
		last = max(last, p.close)
	}
	return sum + weightMakespan*int64(last)
}
