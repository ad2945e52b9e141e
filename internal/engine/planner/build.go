package planner

import (
	"cmp"
	"math"
	"slices"
	"time"
)

// Make plans everything. The error says that the problem contradicts itself; a job
// for which there is no place is in Plan.Unplaced with the facts.
func Make(p Problem) (Plan, error) {
	s, err := newShop(p)
	if err != nil {
		return Plan{}, err
	}
	b, all := s.keepFirst()
	if !all { // else shifting would give the same again
		b = best(b, s.shiftRight())
	}
	tries := p.Tries
	if tries == 0 {
		tries = DefaultTries
	}
	b.improve(tries)
	return b.plan(), nil
}

func best(a, b *board) *board {
	if b.cost().Total() < a.cost().Total() {
		return b
	}
	return a
}

// given is the board with all that nothing may push: started work, pins, wishes.
func (s *shop) given() *board {
	b := newBoard(s)
	b.freeze()
	b.pin()
	for _, timed := range []bool{true, false} { // what has a time first: the others can go around it
		for _, job := range s.urgency {
			if j := s.jobs[job]; j.Wish != nil && j.Started == nil && j.Wish.Start.IsZero() != timed {
				b.putWish(job)
			}
		}
	}
	return b
}

// keepFirst leaves every booking that still fits, then inserts the rest. It tells
// whether all bookings fitted.
func (s *shop) keepFirst() (b *board, all bool) {
	b, all = s.given(), true
	for _, job := range s.byStart() {
		if b.open(job) && !b.keep(job) {
			all = false
		}
	}
	b.insertRest()
	return b, all
}

// shiftRight keeps the order in every bay and lets each booking begin as soon
// as the ones before it allow, but not earlier than it lies.
func (s *shop) shiftRight() *board {
	b := s.given()
	for _, job := range s.byStart() {
		if !b.open(job) || b.keep(job) {
			continue
		}
		c, ok := s.choiceOf(job)
		if !ok {
			continue
		}
		if sl, ok := b.placed(job, c, max(s.release(job), at(s.jobs[job].Current.When.Start))); ok {
			b.put(job, sl)
		}
	}
	b.insertRest()
	return b
}

func (b *board) insertRest() {
	for _, job := range b.shop.urgency {
		if b.open(job) {
			b.insert(job)
		}
	}
}

// open tells whether a job is still to be placed. A wish is placed as wished or not at all.
func (b *board) open(job int) bool {
	j := b.shop.jobs[job]
	return b.slots[job] == nil && j.Started == nil && j.Wish == nil
}

// keep puts a job where it lay, if it still fits there.
func (b *board) keep(job int) bool {
	sl, ok := b.asBefore(job)
	if ok {
		b.put(job, sl)
	}
	return ok
}

// asBefore gives a job's slot at its present place and start, if it fits.
func (b *board) asBefore(job int) (*slot, bool) {
	s := b.shop
	c, ok := s.choiceOf(job)
	if !ok {
		return nil, false
	}
	cur := s.jobs[job].Current
	start := at(cur.When.Start)
	if start < s.now && start <= s.now.add(-s.problem.Grace) || start < s.releaseOrNever(job) {
		return nil, false
	}
	if opens, ok := c.open.next(start); !ok || opens != start {
		return nil, false
	}
	end, ok := c.open.finish(start, s.work(job))
	if !ok || end > c.expires || len(b.obstacles(c, span{start, end})) > 0 {
		return nil, false
	}
	kept := end == at(cur.When.End)
	sl := &slot{choice: c, span: span{start, end}, kept: kept}
	if !kept {
		sl.why = "it stays, and is now done at " + s.clock(end)
	}
	return sl, true
}

// choiceOf gives the choice that a job's present place stands for.
func (s *shop) choiceOf(job int) (choice, bool) {
	cur := s.jobs[job].Current
	if cur == nil {
		return choice{}, false
	}
	for _, c := range s.choices[job] {
		if s.bays[c.bay].name != cur.Bay || s.people[c.person].name != cur.Person {
			continue
		}
		if c, ok := s.withTools(c, cur.Tools); ok {
			return c, true
		}
	}
	return choice{}, false
}

// insert puts a job where it costs least, if there is room at all.
func (b *board) insert(job int) {
	if sl := b.cheapest(job, func(choice) bool { return true }); sl != nil {
		b.put(job, sl)
	}
}

// cheapest finds the best slot among the choices that are allowed. A job that
// lay somewhere is tried as early as possible and as near after its old start as
// possible. Of equals the first choice wins, so one that cannot cost less even
// on an empty board is not tried.
func (b *board) cheapest(job int, allowed func(choice) bool) *slot {
	s := b.shop
	from := []instant{s.release(job)}
	if cur := s.jobs[job].Current; cur != nil && at(cur.When.Start) > from[0] {
		from = append(from, at(cur.When.Start))
	}
	bounds := map[*windows]float64{}
	least, start := math.Inf(1), instant(0)
	var winner choice
	for i := range s.choices[job] {
		c := s.choices[job][i]
		if !allowed(c) || s.bound(job, c.open, from[0], bounds) >= least {
			continue
		}
		for _, f := range from {
			_, when, ok := b.room(job, c, f, least, nil)
			if !ok {
				continue
			}
			if cost := s.cost(job, c, when).Total(); cost < least {
				winner, least, start = c, cost, f
			}
		}
	}
	if math.IsInf(least, 1) {
		return nil
	}
	sl, _ := b.placed(job, winner, start)
	return sl
}

// bound is the least that a job can cost in some windows: its end as if nothing
// else were there. The answers are kept in known.
func (s *shop) bound(job int, open *windows, from instant, known map[*windows]float64) float64 {
	if cost, ok := known[open]; ok {
		return cost
	}
	cost := math.Inf(1)
	if end, ok := open.finish(from, s.work(job)); ok {
		c := s.ending(job, end)
		cost = c.Total()
	}
	known[open] = cost
	return cost
}

// alternative is the best place for a job that lies somewhere, in another bay or
// with another person.
func (b *board) alternative(job int) *Alternative {
	s := b.shop
	lies := b.take(job)
	other := b.cheapest(job, func(c choice) bool { return c.bay != lies.choice.bay || c.person != lies.choice.person })
	b.put(job, lies)
	if other == nil {
		return nil
	}
	return &Alternative{
		Bay: s.bays[other.choice.bay].name, Person: s.people[other.choice.person].name,
		When: other.span.interval(s.zone),
	}
}

// byStart orders booked jobs by their present start.
func (s *shop) byStart() []int {
	return s.order(func(j Job) bool { return j.Current != nil }, func(a, b Job) int {
		return a.Current.When.Start.Compare(b.Current.When.Start)
	})
}

// byUrgency orders jobs by priority, then due date, then release.
func (s *shop) byUrgency() []int {
	return s.order(func(Job) bool { return true }, func(a, b Job) int {
		return cmp.Or(
			cmp.Compare(b.Priority, a.Priority),
			dueOf(a).Compare(dueOf(b)),
			releaseOf(a, s.problem.Now).Compare(releaseOf(b, s.problem.Now)),
		)
	})
}

func releaseOf(j Job, now time.Time) time.Time {
	if j.Release.Before(now) {
		return now
	}
	return j.Release
}

// order sorts the jobs that are wanted; those that compare equal keep the problem's order.
func (s *shop) order(wanted func(Job) bool, compare func(a, b Job) int) []int {
	var jobs []int
	for job, j := range s.jobs {
		if wanted(j) {
			jobs = append(jobs, job)
		}
	}
	slices.SortStableFunc(jobs, func(a, b int) int { return compare(s.jobs[a], s.jobs[b]) })
	return jobs
}
