package workshop

import (
	"slices"

	"ramprow/internal/engine/planner"
)

// Weights of the cost for each tick of the grid. Lateness comes first: a tick of it
// outweighs any single thing below. A tick of overtime costs as much as five of a bay
// that is held without work; a change of the last plan as much as half an hour of
// five-minute ticks held. The figures are ours, without a source.
const (
	weightLate     = 100 // times 1 + priority
	weightOvertime = 10
	weightDead     = 2
	weightChange   = 12 // for each operation with another start or person, each job with another bay or way
	weightMakespan = 1
	// unplaced is more than any lateness within the horizon.
	unplaced = 1_000_000_000
)

// Cost is what a plan is judged by, each part weighted. Lower is better.
type Cost struct {
	// Late is the time after due dates, Dead that for which bays are held beyond the
	// work done in them, Overtime the work in extra times, Change what differs from the
	// last plan, Makespan the time until the last end.
	Late, Dead, Overtime, Change, Makespan int64
	// Unplaced counts jobs without a place.
	Unplaced int
}

// Total is the one number that plans are compared by.
func (c Cost) Total() int64 {
	return c.Late + c.Dead + c.Overtime + c.Change + c.Makespan + unplaced*int64(c.Unplaced)
}

// Gap is by how many hundredths a plan may cost more than the best one at most.
func (p Plan) Gap() float64 {
	if p.Optimal || p.Bound <= 0 {
		return 0
	}
	return 100 * float64(p.Cost.Total()-p.Bound) / float64(p.Bound)
}

func lateWeight(priority int) int64 {
	return weightLate * (1 + int64(min(max(priority, 0), planner.MaxPriority)))
}

// costsOf are what a job's placement costs, but for the makespan.
func (s *shop) costsOf(job int, p *placed) Cost {
	j := &s.jobs[job]
	w := &j.ways[p.way]
	cost := Cost{Late: j.late(p.close), Dead: w.dead(p.close - p.open), Change: s.changeOf(job, p)}
	for k := range w.ops {
		cost.Overtime += weightOvertime * int64(s.overtime(&w.ops[k], p.bay, p.ops[k]))
	}
	return cost
}

// costOf adds them up.
func (s *shop) costOf(job int, p *placed) int64 { return s.costsOf(job, p).Total() }

func (j *job) late(end int) int64 { return j.weight * int64(max(0, end-j.due)) }

// dead is what it costs that a bay is held so long.
func (w *way) dead(held int) int64 { return weightDead * int64(max(0, held-w.effort)) }

// changeOf is what differs from the last plan.
func (s *shop) changeOf(job int, p *placed) int64 {
	last := s.jobs[job].last
	if last == nil {
		return 0
	}
	var changes int64
	if last.bay != p.bay || last.way != p.way {
		changes++
	}
	for k, at := range p.ops {
		if last.way != p.way || k >= len(last.ops) || last.ops[k].start != at.start || last.ops[k].person != at.person {
			changes++
		}
	}
	return weightChange * changes
}

// overtime counts the ticks of work that lie beyond the person's shifts.
func (s *shop) overtime(o *op, bay int, at spot) int {
	if at.person == none || !slices.ContainsFunc(s.people[at.person].overtime, at.overlaps) {
		return 0
	}
	open, ticks := s.together(bay, at.person, at.tools), 0
	start := max(at.start, 0) // what was worked before now is past
	for i := open.index(start); i < len(open.spans) && open.spans[i].start < at.end; i++ {
		w := open.spans[i]
		for _, e := range s.people[at.person].overtime {
			ticks += max(0, min(w.end, e.end, at.end)-max(w.start, e.start, start))
		}
	}
	return min(ticks, o.effort)
}
