package planner

import (
	"math"
	"time"
)

// Weights of the cost, per minute unless said otherwise. Being late counts most,
// against the due date as against an end that has been promised; breaking a
// promise at all costs as much as three hours more of it. Being done earlier is
// worth little: a move that hurts nobody pays if it brings a car forward by about
// a day, and no ordinary job pushes another only to be done earlier itself,
// unless that wins several days.
const (
	weightLate = 5.0
	// promiseFlat is the cost of any end later than the one before.
	promiseFlat = 1000.0
	weightFlow  = 0.25
	weightDead  = 0.02
	// changeFlat is the cost of any move, changePerMinute of how far, up to changeMost.
	changeFlat      = 30.0
	changePerMinute = 1.0
	changeMost      = 210.0
	// changePlace is added for another bay, and half of it for another person.
	changePlace = 60.0
	// unplaced is more than any lateness within the horizon can cost.
	unplaced = 1e7
)

// Cost is what a plan is judged by, in weighted minutes. Lower is better.
type Cost struct {
	// Late is the time after the due dates, Flow from release to end, both by priority.
	Late, Flow float64
	// Promise is what ends later than it was to end before.
	Promise float64
	// Dead is the time for which bays are held without work.
	Dead float64
	// Change is what differs from where things lay before.
	Change float64
	// Unplaced counts jobs without a place.
	Unplaced int
}

// Total is the one number that two plans are compared by.
func (c Cost) Total() float64 {
	return c.Late + c.Flow + c.Promise + c.Dead + c.Change + unplaced*float64(c.Unplaced)
}

func (c Cost) plus(o Cost) Cost {
	return Cost{
		Late: c.Late + o.Late, Flow: c.Flow + o.Flow, Promise: c.Promise + o.Promise, Dead: c.Dead + o.Dead,
		Change: c.Change + o.Change, Unplaced: c.Unplaced + o.Unplaced,
	}
}

// costOf is what a job costs where it lies.
func (s *shop) costOf(job int, sl *slot) Cost {
	return s.cost(job, sl.choice.bay, sl.choice.person, sl.span)
}

// cost of a job in a bay with a person at a span.
func (s *shop) cost(job, bay, person int, when span) Cost {
	j := &s.jobs[job]
	var out Cost
	out.Late, out.Flow, out.Promise = s.ending(job, when.end)
	out.Dead = weightDead * max(0, (when.end.sub(when.start)-j.Effort).Minutes())
	if j.Current != nil {
		out.Change = s.change(job, bay, person, when)
	}
	return out
}

// ending is the part of the cost that only the end decides; it grows with it.
func (s *shop) ending(job int, end instant) (late, flow, promise float64) {
	t := &s.times[job]
	if end > t.due {
		late = weightLate * t.weight * end.sub(t.due).Minutes()
	}
	flow = weightFlow * t.weight * max(0, end.sub(s.release(job)).Minutes())
	if s.jobs[job].Current != nil && end > t.end {
		promise = promiseFlat + weightLate*t.weight*end.sub(t.end).Minutes()
	}
	return late, flow, promise
}

// endCost is the sum of ending.
func (s *shop) endCost(job int, end instant) float64 {
	late, flow, promise := s.ending(job, end)
	return late + flow + promise
}

// change is the cost of a place that differs from the present one.
func (s *shop) change(job, bay, person int, when span) float64 {
	var cost float64
	if moved := when.start.sub(s.times[job].start); moved != 0 {
		cost += changeFlat + min(changeMost, changePerMinute*math.Abs(moved.Minutes()))
	}
	return cost + s.elsewhere(job, bay, person)
}

// elsewhere is what it costs that a booked job goes to another bay or person.
func (s *shop) elsewhere(job, bay, person int) float64 {
	var cost float64
	if bay != s.times[job].bay {
		cost += changePlace
	}
	if person != s.times[job].person {
		cost += changePlace / 2
	}
	return cost
}

// cost of everything on the board; started work is the same on every board.
func (b *board) cost() Cost {
	var sum Cost
	for job, sl := range b.slots {
		switch {
		case b.shop.jobs[job].Started != nil:
		case sl == nil:
			sum.Unplaced++
		default:
			sum = sum.plus(b.shop.costOf(job, sl))
		}
	}
	return sum
}

// dueOf is the due date for ordering: no wish comes last.
func dueOf(j Job) time.Time {
	if j.Due.IsZero() {
		return time.Unix(0, int64(forever))
	}
	return j.Due
}
