package workshop

import (
	"math"
	"slices"
)

// bound is what no plan can cost less than, found quickly: every job as if it were
// alone, or all jobs' work poured into the hours of the people, whichever says more.
func (s *shop) bound() int64 {
	var apart, late, dead int64
	last, missing := 0, false
	for job := range s.jobs {
		j := &s.jobs[job]
		idle := int64(unplaced)
		end, least, ok := forever, int64(unplaced), false
		for w := range j.ways {
			if j.opened && w != j.openWay {
				continue
			}
			if e, fits := s.aloneEnd(j, w, 0); fits {
				end, ok = min(end, e), true
				both, held := s.leastAlone(j, w)
				least, idle = min(least, both), min(idle, held)
			}
		}
		if !ok {
			apart += unplaced // it has no place in any plan
			missing = true
			continue
		}
		apart += least
		dead += idle
		last = max(last, end)
	}
	if missing { // the others may still find no room together
		return apart
	}
	for _, pool := range []struct {
		hours hours
		work  func(*way) int
	}{{s.peopleHours(), attended}, {s.bayHours(), chain}} {
		if poured, end, ok := s.poured(pool.hours, pool.work); ok {
			late, last = max(late, min(poured, unplaced-dead-int64(end))), max(last, end)
		}
	}
	return max(apart, late+dead) + weightMakespan*int64(last)
}

// heldStep is in which steps the start of a job is tried by leastAlone, in ticks.
const heldStep = 6

// leastAlone is the least that a job's lateness and dead time cost together, and its
// dead time by itself, if nobody else were there. A later start never has an earlier
// end, so the end for the start of a step bounds all of the step.
func (s *shop) leastAlone(j *job, w int) (both, dead int64) {
	way := &j.ways[w]
	if j.opened {
		end, _ := s.aloneEnd(j, w, 0)
		return j.late(end) + way.dead(end-j.since), way.dead(end - j.since)
	}
	both, dead = unplaced, unplaced
	for from := j.release; from < s.horizon; from += heldStep {
		end, fits := s.aloneEnd(j, w, from)
		if !fits || j.late(end) >= both && dead == 0 {
			break // later ones are no better
		}
		idle := way.dead(max(way.least, end-(from+heldStep-1)))
		both, dead = min(both, j.late(end)+idle), min(dead, idle)
	}
	return both, dead
}

// aloneEnd is when a job could be done if nobody else were there, nothing of it began
// before a time, and its own operations did not wait for each other's people.
func (s *shop) aloneEnd(j *job, w, after int) (int, bool) {
	way := &j.ways[w]
	end := make([]int, len(way.ops))
	last := 0
	for _, k := range way.order {
		o := &way.ops[k]
		from := max(after, j.release, o.pin, j.pin)
		if j.opened {
			from = max(0, o.pin)
		}
		for _, l := range way.in[k] {
			from = max(from, end[l.op]+l.least)
		}
		best := s.aloneOp(j, o, from)
		if best > s.horizon {
			return 0, false
		}
		end[k] = best
		last = max(last, best)
	}
	return last, true
}

// aloneOp is the first end of an operation with anybody in any bay.
func (s *shop) aloneOp(j *job, o *op, from int) int {
	best := forever
	var tried [4]*windows // most people have the same hours
	for _, bay := range j.bays {
		if o.started != nil {
			if when, fits := s.together(bay, o.started.person, o.started.tools).earliest(0, o.effort, false); fits {
				best = min(best, when.end)
			}
			continue
		}
		for i := range o.modes {
			m := &o.modes[i]
			open := m.open[s.kindOf[bay]]
			if m.expires == forever && slices.Contains(tried[:], open) {
				continue
			}
			if when, fits := open.earliest(from, o.effort, o.whole); fits && when.end <= m.expires {
				if best = min(best, when.end); best == from+o.effort {
					return best
				}
			}
			if m.expires == forever {
				copy(tried[1:], tried[:3])
				tried[0] = open
			}
		}
	}
	return best
}

const (
	// buckets is into how many parts the horizon is cut for pouring, pours how often prices are corrected.
	buckets = 240
	pours   = 400
)

// flow is a job's work on its way into hours.
type flow struct{ cost, work, release, due float64 }

// hours is how much work fits into each part of the horizon, size ticks long.
type hours struct {
	size int
	room []float64
}

func (s *shop) hours() hours {
	size := max(1, (s.horizon+buckets-1)/buckets)
	return hours{size, make([]float64, (s.horizon+size-1)/size)}
}

// peopleHours are the hours of all people.
func (s *shop) peopleHours() hours {
	h := s.hours()
	for i := range s.people {
		for _, w := range s.open[s.people[i].class] {
			for t := w.start; t < w.end; t++ {
				h.room[t/h.size]++
			}
		}
	}
	return h
}

// bayHours are those of all bays while anybody is there.
func (s *shop) bayHours() hours {
	there := make([]bool, s.horizon)
	for i := range s.people {
		for _, w := range s.open[s.people[i].class] {
			for t := w.start; t < w.end; t++ {
				there[t] = true
			}
		}
	}
	h := s.hours()
	for i := range s.bays {
		for _, w := range s.open[s.bays[i].class] {
			for t := w.start; t < w.end; t++ {
				if there[t] {
					h.room[t/h.size]++
				}
			}
		}
	}
	return h
}

// attended is all work of a way that somebody must do.
func attended(w *way) (work int) {
	for k := range w.ops {
		work += w.ops[k].hands()
	}
	return work
}

// chain is the longest row of such work that must be done one after the other: for as
// long the bay is taken while somebody is there.
func chain(w *way) (longest int) {
	until := make([]int, len(w.ops))
	for _, k := range w.order {
		for _, l := range w.in[k] {
			until[k] = max(until[k], until[l.op])
		}
		until[k] += w.ops[k].hands()
		longest = max(longest, until[k])
	}
	return longest
}

func (o *op) hands() int {
	if o.unattended || o.started != nil && o.started.person == none {
		return 0
	}
	return o.effort
}

// poured is a bound of all lateness together, and of the last end: the work of every
// job, cut into ticks, flows into hours. A tick of work at time t costs its share of
// the lateness that an end at t would; together they never cost more than the end of
// the last one does. Hours get prices until the flow fits, and any prices give a bound
// (Lagrange). It says nothing if there is more work than hours.
func (s *shop) poured(h hours, workOf func(*way) int) (late int64, last int, ok bool) {
	flows, all := s.flows(workOf)
	fits := 0.0
	for t := 0; t < len(h.room) && fits < all; t++ {
		fits += h.room[t]
		last = t * h.size
	}
	if fits < all {
		return 0, 0, false
	}
	price, used := make([]float64, len(h.room)), make([]float64, len(h.room))
	best := 0.0
	for round := range pours {
		value := pour(flows, h, price, used)
		best = max(best, value)
		norm := 0.0
		for t := range price {
			norm += (used[t] - h.room[t]) * (used[t] - h.room[t])
		}
		if norm == 0 {
			break
		}
		step := (0.05*max(value, 0) + weightLate) / norm * float64(pours-round) / pours
		for t := range price {
			price[t] = max(0, price[t]+step*(used[t]-h.room[t]))
		}
	}
	return int64(best), last, true
}

// pour lets each job's work flow where it costs least, and gives what that is worth as a bound.
func pour(flows []flow, h hours, price, used []float64) (value float64) {
	clear(used)
	for _, f := range flows {
		cheapest, at := math.Inf(1), 0
		for t := int(f.release) / h.size; t < len(price); t++ {
			if c := f.cost*max(0, float64(t*h.size+1)-f.due) + price[t]; c < cheapest {
				cheapest, at = c, t
			}
			if price[t] == 0 && float64(t*h.size) >= f.due {
				break // later hours are dearer
			}
		}
		value += cheapest * f.work
		used[at] += f.work
	}
	for t := range price {
		value -= price[t] * h.room[t]
	}
	return value
}

func (s *shop) flows(workOf func(*way) int) (flows []flow, all float64) {
	for i := range s.jobs {
		j := &s.jobs[i]
		least := forever
		for w := range j.ways {
			if !j.opened || w == j.openWay {
				least = min(least, workOf(&j.ways[w]))
			}
		}
		release := j.release
		if j.opened {
			release = 0
		}
		if least > 0 {
			work := float64(least)
			flows = append(flows, flow{float64(j.weight) / work, work, float64(release), float64(min(j.due, s.horizon))})
			all += work
		}
	}
	return flows, all
}

// identical tells whether two bays are the same to every plan: empty, of a kind, with
// one calendar, and named by nobody.
func (b *board) identical(x, y int) bool {
	s := b.s
	if s.bays[x].class != s.bays[y].class || s.p.Bays[x].Kind != s.p.Bays[y].Kind || len(b.bays[x]) > 0 || len(b.bays[y]) > 0 {
		return false
	}
	return !slices.ContainsFunc(s.p.Jobs, func(j Job) bool {
		for _, bay := range []int{x, y} {
			name := s.p.Bays[bay].Name
			if j.Bay == name || j.Opened != nil && j.Opened.Bay == name || j.Last != nil && j.Last.Bay == name {
				return true
			}
		}
		return false
	})
}
