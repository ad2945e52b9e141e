package planner

import (
	"fmt"
	"slices"
)

// Stand holds a plan against a problem: it gives the plan again with the cost and the
// reasons that it has there, and what of it does not fit, in words. Started work, pins
// and wishes lie as Make puts them; a plan that has a pin elsewhere does not fit. The error says that the
// problem contradicts itself.
func Stand(p Problem, plan Plan) (stands Plan, misfits []string, err error) {
	s, err := newShop(p)
	if err != nil {
		return Plan{}, nil, err
	}
	b, misfits := s.boardOf(plan)
	return b.read(), misfits, nil
}

// boardOf puts what a plan places beside what nothing may push, as far as it fits.
func (s *shop) boardOf(plan Plan) (b *board, misfits []string) {
	b = s.given()
	index := make(map[string]int, len(s.jobs))
	for job := range s.jobs {
		index[s.jobs[job].Name] = job
	}
	for i := range plan.Placements {
		at := &plan.Placements[i]
		job, known := index[at.Job]
		if !known {
			misfits = append(misfits, at.Job+" is not to be planned")
			continue
		}
		fits := s.jobs[job].Started != nil || s.jobs[job].Wish != nil
		if sl := b.slots[job]; sl != nil {
			fits = fits || s.bays[sl.choice.bay].name == at.Bay && s.people[sl.choice.person].name == at.Person && sl.span.start == instantOf(at)
		} else if b.open(job) {
			if sl = b.placedAt(job, at); sl != nil {
				b.put(job, sl)
			}
			fits = sl != nil
		}
		if !fits {
			misfits = append(misfits, fmt.Sprintf("%s no longer fits in %s with %s at %s", at.Job, at.Bay, at.Person, s.clock(instantOf(at))))
		}
	}
	return b, misfits
}

func instantOf(p *Placement) instant { return at(p.When.Start) }

// placedAt is the slot of a placement; nil: it does not fit.
func (b *board) placedAt(job int, p *Placement) *slot {
	s := b.shop
	start := instantOf(p)
	if s.jobs[job].Current != nil && start == s.times[job].start {
		c, when, ok := b.stays(job)
		if ok && s.bays[c.bay].name == p.Bay && s.people[c.person].name == p.Person && slices.Equal(s.toolNames(c.tools), p.Tools) {
			return &slot{choice: c, span: when}
		}
	}
	c := s.choiceOf(job, p.Bay, p.Person, p.Tools)
	if c == nil || start < s.release(job) {
		return nil
	}
	when, ok := b.lies(job, c, start)
	if !ok {
		return nil
	}
	return &slot{choice: *c, span: when}
}

// read gives the board as a plan. Where slots were made without reasons, they are
// found now: what a job would wait for if everything else lay as it lies.
func (b *board) read() Plan {
	for job, sl := range b.slots {
		if sl != nil && !sl.fixed {
			b.take(job)
			b.put(job, b.explained(job, sl))
		}
	}
	return b.plan()
}

func (b *board) explained(job int, sl *slot) *slot {
	s := b.shop
	out := &slot{choice: sl.choice, span: sl.span}
	if cur := s.jobs[job].Current; cur != nil && s.times[job].start == sl.span.start && s.lying[job] != nil && s.lying[job].same(&sl.choice) {
		if out.kept = sl.span.end == s.times[job].end; !out.kept {
			out.why = "it stays, and is now done at " + s.clock(sl.span.end)
		}
		return out
	}
	if again, ok := b.placed(job, sl.choice, s.release(job)); ok && again.span == sl.span {
		out.waited = again.waited
		return out
	}
	out.why = "here the whole plan costs least"
	return out
}

// same tells whether two choices whose pieces are decided hold the same.
func (c *choice) same(o *choice) bool {
	return c.bay == o.bay && c.person == o.person && slices.Equal(c.tools, o.tools)
}
