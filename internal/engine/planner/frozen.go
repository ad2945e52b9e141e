package planner

import "slices"

// freeze puts started work on the board. Where a bay or a person is not known, a
// free one is assumed: after all that is known, so that nothing assumed takes a
// place that is known to be taken.
func (b *board) freeze() {
	var open []int
	for job, j := range b.shop.jobs {
		if j.Started == nil {
			continue
		}
		c := b.shop.known(*j.Started)
		b.putStarted(job, c)
		if c.bay == none || c.person == none {
			open = append(open, job)
		}
	}
	for _, job := range open {
		b.take(job)
		b.putStarted(job, b.assume(job))
	}
}

// known gives the resources that started work is known to hold.
func (s *shop) known(w Started) choice {
	c := choice{bay: find(s.bays, w.Bay), person: find(s.people, w.Person), expires: forever}
	for _, name := range w.Tools {
		if t := find(s.tools, name); t != none {
			c.tools = append(c.tools, t)
		}
	}
	return c
}

func (b *board) putStarted(job int, c choice) {
	s := b.shop
	w := s.jobs[job].Started
	c.open = s.together(c)
	end := s.startedEnd(*w, c.open)
	b.put(job, &slot{
		choice: c, span: span{at(w.At), end}, fixed: true, kept: true,
		why: "the work has begun: the car stays until it is closed",
	})
}

// startedEnd is when what is left will be done: never before now, and at the end
// of the horizon if nobody is there to do it.
func (s *shop) startedEnd(w Started, open *windows) instant {
	begin, left := at(w.Since), w.Left
	if !w.PartsAt.IsZero() && w.PartsAfter < left {
		first, ok := open.finish(begin, w.PartsAfter)
		if ok && first < at(w.PartsAt) {
			begin, left = at(w.PartsAt), left-w.PartsAfter
		}
	}
	end, ok := open.finish(begin, left)
	if !ok {
		return s.extent.end
	}
	return max(end, s.now)
}

// assume fills in what is not known of started work with what is free from now
// until its end. What cannot be found stays none.
func (b *board) assume(job int) choice {
	s := b.shop
	w := s.jobs[job].Started
	c := s.known(*w)
	free := func(c choice) bool {
		end := s.startedEnd(*w, s.together(c))
		return len(b.heldBy(c, span{s.now, end})) == 0
	}
	if c.person == none {
		c.person = slices.IndexFunc(s.problem.People, func(h Person) bool {
			_, _, able := h.able(s.jobs[job])
			return able && free(choice{bay: none, person: find(s.people, h.Name)})
		})
	}
	if c.bay == none {
		c.bay = slices.IndexFunc(s.problem.Bays, func(bay Bay) bool {
			return bay.suits(s.jobs[job]) && free(choice{bay: find(s.bays, bay.Name), person: c.person})
		})
	}
	return c
}

// heldBy is obstacles without the blocks: what counts for work that has begun.
func (b *board) heldBy(c choice, within span) []obstacle {
	return slices.DeleteFunc(b.obstacles(c, within), func(o obstacle) bool { return o.job == none })
}

// filled tells whether a slot differs from what is known of started work: a bay
// or person was assumed.
func (j Job) filled(sl *slot) bool {
	return j.Started != nil && (j.Started.Bay == "" && sl.choice.bay != none || j.Started.Person == "" && sl.choice.person != none)
}
