package exact

// timetable adds up what activities take in periods in which they surely run, and
// moves others away from periods that have not enough left. False: a conflict.
func (s *solver) timetable(r *resource) bool {
	from, to := int32(farAway), int32(0)
	for _, t := range r.tasks {
		latest, end := s.high(2*t.activity), s.low[2*t.activity]+s.durations[t.activity]
		if latest < end {
			s.profile[latest] += t.units
			s.profile[end] -= t.units
			from, to = min(from, latest), max(to, end)
		}
	}
	if from >= to {
		return true
	}
	var sum, most int32
	for i := from; i < to; i++ {
		sum += s.profile[i]
		s.profile[i] = sum
		most = max(most, sum)
	}
	s.profile[to] = 0
	ok := s.within(r, from, to, most)
	clear(s.profile[from : to+1])
	return ok
}

func (s *solver) within(r *resource, from, to, most int32) bool {
	if most > r.capacity {
		for i := from; i < to; i++ {
			if s.profile[i] > r.capacity {
				s.conflict = s.cover(s.conflict[:0], r, i, -1, r.capacity)
				return false
			}
		}
	}
	for _, t := range r.tasks {
		if t.units+most <= r.capacity {
			return true // the tasks come by falling units
		}
		if s.low[2*t.activity] == s.high(2*t.activity) {
			continue
		}
		if !s.later(r, t, from, to) || !s.earlier(r, t, from, to) {
			return false
		}
	}
	return true
}

// later moves the earliest start of a task out of full periods.
func (s *solver) later(r *resource, t task, from, to int32) bool {
	side, d, room := 2*t.activity, s.durations[t.activity], r.capacity-t.units
	for again := true; again; {
		again = false
		start := s.low[side]
		// From its latest start on the task itself is in the profile.
		for i := min(start+d, s.high(side), to) - 1; i >= max(start, from); i-- {
			if s.profile[i] > room {
				literals := s.cover(append(s.conflict[:0], literal{side, i - d + 1}), r, i, t.activity, room)
				if !s.raise(literal{side, i + 1}, s.keep(literals...)) {
					return false
				}
				again = true
				break
			}
		}
	}
	return true
}

// earlier is later seen from the end.
func (s *solver) earlier(r *resource, t task, from, to int32) bool {
	side, d, room := 2*t.activity+1, s.durations[t.activity], r.capacity-t.units
	for again := true; again; {
		again = false
		latest := -s.low[side]
		for i := max(latest, s.low[side^1]+d, from); i < min(latest+d, to); i++ {
			if s.profile[i] > room {
				literals := s.cover(append(s.conflict[:0], literal{side, -i}), r, i, t.activity, room)
				if !s.raise(literal{side, d - i}, s.keep(literals...)) {
					return false
				}
				again = true
				break
			}
		}
	}
	return true
}

// cover adds the literals which make activities run in a period that together take
// more than the room; those that are not needed are left out, the small ones first.
func (s *solver) cover(out []literal, r *resource, period, but, room int32) []literal {
	spare := -room - 1
	for _, t := range r.tasks {
		if t.activity != but && s.runs(t.activity, period) {
			spare += t.units
		}
	}
	for i := len(r.tasks) - 1; i >= 0; i-- {
		t := r.tasks[i]
		if t.activity == but || !s.runs(t.activity, period) {
			continue
		}
		start, latest := literal{2 * t.activity, period - s.durations[t.activity] + 1}, literal{2*t.activity + 1, -period}
		sure := start.bound <= s.base[start.side] && latest.bound <= s.base[latest.side]
		if !sure && t.units <= spare {
			spare -= t.units
			continue
		}
		if !sure {
			out = append(out, start, latest)
		}
	}
	return out
}

// runs tells whether an activity surely runs in a period.
func (s *solver) runs(a, period int32) bool {
	return s.high(2*a) <= period && period < s.low[2*a]+s.durations[a]
}
