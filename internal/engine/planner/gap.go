package planner

// trial is the outcome of looking for room on one choice.
type trial struct {
	span   span
	waited []Cause
}

// room gives the first span from a moment on in which a choice can do a job.
// Every jump over something is noted: the last one decided the start.
//
// A conflict that overlaps [t, end) overlaps every later span that starts before
// the conflict ends, since later starts end no earlier: so jumping to the latest
// end of all conflicts never misses room.
func (b *board) room(job int, c choice, from instant) (trial, bool) {
	s := b.shop
	t := from
	out := trial{}
	for {
		opens, ok := c.open.next(t)
		if !ok {
			return trial{}, false
		}
		if opens > t {
			out.note(Cause{Kind: CauseClosed, Resource: s.closedBy(c, t), Until: opens.time(s.zone)})
		}
		if t = opens.ceil(s.problem.Grid); t > opens {
			continue // the grid may lie beyond the window
		}
		end, ok := c.open.finish(t, s.work(job))
		if !ok || end > c.expires {
			return trial{}, false
		}
		blocked := b.obstacles(c, span{t, end})
		if len(blocked) == 0 {
			out.span = span{t, end}
			return out, true
		}
		last := blocked[0]
		for _, o := range blocked {
			if o.span.end > last.span.end {
				last = o
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

// closedBy names the resource whose calendar is closed at a moment.
func (s *shop) closedBy(c choice, t instant) string {
	closed := func(r resource) bool {
		opens, ok := r.open.next(t)
		return !ok || opens > t
	}
	if c.person != none && closed(s.people[c.person]) {
		return s.people[c.person].name
	}
	if c.bay != none && closed(s.bays[c.bay]) {
		return s.bays[c.bay].name
	}
	for _, i := range c.tools {
		if closed(s.tools[i]) {
			return s.tools[i].name
		}
	}
	return ""
}

func (s *shop) cause(o obstacle) Cause {
	if o.job == none {
		return Cause{Kind: CauseBlocked, Resource: o.resource, Why: o.why, Until: o.span.end.time(s.zone)}
	}
	return Cause{Kind: CauseHeld, Resource: o.resource, Job: s.jobs[o.job].Name, Until: o.span.end.time(s.zone)}
}
