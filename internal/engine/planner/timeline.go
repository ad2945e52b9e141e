package planner

import (
	"math/rand/v2"
	"slices"
	"time"
)

// slot is a job where it lies.
type slot struct {
	choice choice
	span   span
	fixed  bool // started or pinned: nothing may push it
	kept   bool
	why    string
	waited []Cause
}

// board is a plan in the making: who holds what, when.
type board struct {
	shop  *shop
	slots []*slot // per job; nil: not placed
	// Per bay, person and tool what holds it, by start.
	bays, people, tools [][]hold
	// found is where obstacles puts its answer, onTool what is in the way of one tool.
	found, onTool []obstacle
	// soonest is where cheapest notes what each resource alone would allow.
	soonest soonest
	// blinking makes a search overlook a resource now and then; nil: never. wide lets
	// it begin later than as soon as can be, if a bay is held no longer for it.
	blinking *rand.Rand
	wide     bool
}

// hold is a job on one resource, with its span at hand: this is looked at with every try.
type hold struct {
	span
	job int
}

func newBoard(s *shop) *board {
	return &board{
		shop: s, slots: make([]*slot, len(s.jobs)),
		bays: make([][]hold, len(s.bays)), people: make([][]hold, len(s.people)), tools: make([][]hold, len(s.tools)),
		soonest: newSoonest(s),
	}
}

func (b *board) put(job int, s *slot) {
	b.slots[job] = s
	b.each(s.choice, func(held *[]hold) {
		i := slices.IndexFunc(*held, func(other hold) bool { return other.start > s.span.start })
		if i < 0 {
			i = len(*held)
		}
		*held = slices.Insert(*held, i, hold{s.span, job})
	})
}

func (b *board) take(job int) *slot {
	s := b.slots[job]
	if s == nil {
		return nil
	}
	b.each(s.choice, func(held *[]hold) {
		*held = slices.DeleteFunc(*held, func(other hold) bool { return other.job == job })
	})
	b.slots[job] = nil
	return s
}

func (b *board) each(c choice, fn func(held *[]hold)) {
	if c.bay != none {
		fn(&b.bays[c.bay])
	}
	if c.person != none {
		fn(&b.people[c.person])
	}
	for _, t := range c.tools {
		fn(&b.tools[t])
	}
}

// obstacle is what keeps a span from being used: another job or a block.
type obstacle struct {
	resource string
	job      int // none: a block
	why      string
	span     span
}

// obstacles gives everything that overlaps a span on a choice's resources, as far
// as they are decided. The answer holds until the next call.
func (b *board) obstacles(c choice, within span) []obstacle {
	found := b.found[:0]
	if c.bay != none {
		found = blocking(found, &b.shop.bays[c.bay], b.bays[c.bay], within)
	}
	if c.person != none {
		found = blocking(found, &b.shop.people[c.person], b.people[c.person], within)
	}
	for _, t := range c.tools {
		found = blocking(found, &b.shop.tools[t], b.tools[t], within)
	}
	b.found = found
	return found
}

// blocking adds what overlaps a span on one resource.
func blocking(found []obstacle, r *resource, held []hold, within span) []obstacle {
	for _, h := range held {
		if h.start >= within.end {
			break
		}
		if h.overlaps(within) {
			found = append(found, obstacle{r.name, h.job, "", h.span})
		}
	}
	if r.barred {
		for _, away := range r.blocks {
			if away.overlaps(within) {
				found = append(found, obstacle{r.name, none, away.why, away.span})
			}
		}
	}
	return found
}

// work gives the effort that a job's placement must have room for.
func (s *shop) work(job int) time.Duration { return s.jobs[job].Effort }

// release is the earliest start of a job that has not started.
func (s *shop) release(job int) instant { return max(s.now, s.times[job].release) }

// releaseOrNever is release for what is booked already: its start may have just passed.
func (s *shop) releaseOrNever(job int) instant { return s.times[job].release }
