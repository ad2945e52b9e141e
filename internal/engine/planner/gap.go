package planner

// trial is the outcome of looking for room on one choice.
type trial struct {
	span   span
	waited []Cause
}

// room gives the first span from a moment on in which a choice can do a job, and
// false if its end would cost as much as limit or there is none.
// Every jump over something is noted: the last one decided the start.
//
// A conflict that overlaps [t, end) overlaps every later span that starts before
// the conflict ends, since later starts end no earlier: so jumping to the latest
// end of all conflicts never misses room.
func (b *board) room(job int, c choice, from instant, limit float64) (trial, bool) {
	s := b.shop
	t := from
	out := trial{}
	for {
		opens, ok := c.open.next(t)
		if !ok {
			return trial{}, false
		}
		if opens > t {
			closed, _ := s.closedBy(c, t)
			out.note(Cause{Kind: CauseClosed, Resource: closed.name, Until: opens.time(s.zone)})
		}
		if t = opens.ceil(s.problem.Grid); t > opens {
			continue // the grid may lie beyond the window
		}
		end, ok := c.open.finish(t, s.work(job))
		if !ok || end > c.expires || s.ending(job, end).Total() >= limit {
			return trial{}, false
		}
		blocked := b.obstacles(c, span{t, end})
		if len(blocked) == 0 {
			out.span = span{t, end}
			return out, true
		}
		last := blocked[0]
		for _, o := range blocked[1:] {
			switch {
			case o.span.end > last.span.end:
				last = o
			case o.span.end == last.span.end && o.job == last.job:
				last.resource += ", " + o.resource
			}
		}
		out.note(s.cause(last))
		t = last.span.end
	}
}

func (t *trial) note(c Cause) {
	if n := len(t.waited); n > 0 && t.waited[n-1].Kind == c.Kind && t.waited[n-1].Resource == c.Resource && t.waited[n-1].Job == c.Job {
		t.waited = t.waited[:n-1]
	}
	t.waited = append(t.waited, c)
}

// closedBy gives the resource whose calendar is closed at a moment: the person
// before the bay and the tools.
func (s *shop) closedBy(c choice, t instant) (resource, bool) {
	var all []resource
	if c.person != none {
		all = append(all, s.people[c.person])
	}
	if c.bay != none {
		all = append(all, s.bays[c.bay])
	}
	for _, i := range c.tools {
		all = append(all, s.tools[i])
	}
	for _, r := range all {
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
