package planner

import "math"

// room gives the first span from a moment on in which a choice can do a job, the
// choice with the pieces that are free then, and
// false if its end would cost as much as limit or there is none. Every jump over
// something is told to note, if there is one: the last one decided the start.
//
// A conflict that overlaps [t, end) overlaps every later span that starts before
// the conflict ends, since later starts end no earlier: so jumping to the latest
// end of all conflicts never misses room.
func (b *board) room(job int, c choice, from instant, limit float64, note func(Cause)) (choice, span, bool) {
	s := b.shop
	t := from
	for {
		opens, ok := c.open.next(t)
		if !ok {
			return choice{}, span{}, false
		}
		if opens > t && note != nil {
			closed, _ := s.closedBy(c, t)
			note(Cause{Kind: CauseClosed, Resource: closed.name, Until: opens.time(s.zone)})
		}
		if t = opens.ceil(s.problem.Grid); t > opens {
			continue // the grid may lie beyond the window
		}
		end, ok := c.open.finish(t, s.work(job))
		if !ok || end > c.expires || s.endCost(job, end) >= limit {
			return choice{}, span{}, false
		}
		blocked := b.obstacles(c, span{t, end})
		pieces, held := b.pick(job, c.kits, span{t, end})
		if blocked = append(blocked, held...); len(blocked) == 0 {
			return c.decided(pieces), span{t, end}, true
		}
		last := latest(blocked)
		if note != nil {
			note(s.cause(last))
		}
		t = last.span.end
	}
}

// latest gives the obstacle that ends last, with the names of all resources that
// the same job holds until then.
func latest(blocked []obstacle) obstacle {
	last := blocked[0]
	for _, o := range blocked[1:] {
		switch {
		case o.span.end > last.span.end:
			last = o
		case o.span.end == last.span.end && o.job == last.job:
			last.resource += ", " + o.resource
		}
	}
	return last
}

// placed is a slot with the causes that it waited for.
func (b *board) placed(job int, c choice, from instant) (*slot, bool) {
	var waited []Cause
	found, when, ok := b.room(job, c, from, math.Inf(1), func(next Cause) {
		if n := len(waited); n > 0 && waited[n-1].about(next) {
			waited = waited[:n-1] // the same once more: only its last end counts
		}
		waited = append(waited, next)
	})
	return &slot{choice: found, span: when, waited: waited}, ok
}

func (c Cause) about(o Cause) bool {
	return c.Kind == o.Kind && c.Resource == o.Resource && c.Job == o.Job
}

// used are the resources of a choice: the person before the bay and the tools.
func (s *shop) used(c choice) []resource {
	var all []resource
	if c.person != none {
		all = append(all, s.people[c.person])
	}
	if c.bay != none {
		all = append(all, s.bays[c.bay])
	}
	for _, i := range c.pieces() {
		all = append(all, s.tools[i])
	}
	return all
}

// closedBy gives the first resource whose calendar is closed at a moment.
func (s *shop) closedBy(c choice, t instant) (resource, bool) {
	for _, r := range s.used(c) {
		if opens, ok := r.open.next(t); !ok || opens > t {
			return r, true
		}
	}
	return resource{}, false
}

func (s *shop) cause(o obstacle) Cause {
	if o.job == none {
		return Cause{Kind: CauseBlocked, Resource: o.resource, Why: o.why, Until: o.span.end.time(s.zone)}
	}
	return Cause{Kind: CauseHeld, Resource: o.resource, Job: s.jobs[o.job].Name, Until: o.span.end.time(s.zone)}
}
