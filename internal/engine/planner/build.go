package planner

import (
	"cmp"
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
		c := s.lying[job]
		if c == nil {
			continue
		}
		if sl, ok := b.placed(job, *c, max(s.release(job), at(s.jobs[job].Current.When.Start))); ok {
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
	c, when, ok := b.stays(job)
	if !ok {
		return nil, false
	}
	sl := &slot{choice: c, span: when, kept: when.end == s.times[job].end}
	if !sl.kept {
		sl.why = "it stays, and is now done at " + s.clock(when.end)
	}
	return sl, true
}

// stays tells whether a job can stay where it lies, and until when.
func (b *board) stays(job int) (choice, span, bool) {
	s := b.shop
	c := s.lying[job]
	if c == nil {
		return choice{}, span{}, false
	}
	start := s.times[job].start
	if start < s.now && start <= s.now.add(-s.problem.Grace) || start < s.releaseOrNever(job) {
		return choice{}, span{}, false
	}
	when, ok := b.lies(job, c, start)
	return *c, when, ok
}

// lies tells whether a job can lie at a start on a choice with its pieces, and until when.
func (b *board) lies(job int, c *choice, start instant) (span, bool) {
	if opens, ok := c.open.next(start); !ok || opens != start {
		return span{}, false
	}
	end, ok := c.open.finish(start, b.shop.work(job))
	when := span{start, end}
	return when, ok && end <= c.expires && b.until(job, c, when) == -forever
}

// choiceOf gives the choice that a place stands for; nil: there is none.
func (s *shop) choiceOf(job int, bay, person string, tools []string) *choice {
	atBay, with := find(s.bays, bay), find(s.people, person)
	for i := range s.choices[job] {
		c := &s.choices[job][i]
		if c.bay != atBay || c.person != with {
			continue
		}
		if c, ok := s.withTools(*c, tools); ok {
			return &c
		}
	}
	return nil
}

// insert puts a job where it costs least, if there is room at all.
func (b *board) insert(job int) {
	if sl := b.cheapest(job, nil); sl != nil {
		b.put(job, sl)
	}
}

// alternative is the best place for a job that lies somewhere, in another bay or
// with another person.
func (b *board) alternative(job int) *Alternative {
	s := b.shop
	lies := b.take(job)
	other := b.cheapest(job, func(c *choice) bool { return c.bay != lies.choice.bay || c.person != lies.choice.person })
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
