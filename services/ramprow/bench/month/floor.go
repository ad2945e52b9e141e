package month

import (
	"slices"
	"time"

	"ramprow/internal/engine/planner"
)

// work is a car on the floor.
type work struct {
	*car
	bay, person int // none: no bay, nobody at it
	started     time.Time
	ended       time.Time
	worked      time.Duration
	seen        bool // what is found halfway
}

const none = -1

func (w *work) inBay() bool { return w.bay != none && w.ended.IsZero() }

// stalled tells whether the car stands open and its parts are not there.
func (w *work) stalled(now time.Time) bool {
	return !w.partsEta.IsZero() && w.worked >= w.untilPart && now.Before(w.partsCome)
}

// left is what is thought to be left, of the durations that are planned with.
func (w *work) left(planned time.Duration) time.Duration {
	if w.seen {
		planned += w.found
	}
	return max(tick, planned-w.worked)
}

// floor is the workshop at a moment. What is decided is the policy's; that work goes on
// only while somebody is there, and who takes over when one is ill, is the same for all.
type floor struct {
	*world
	now   time.Time
	works []*work
	// deadBay is for how long bays were held in opening hours and nobody worked there.
	deadBay time.Duration
	policy  policy
	changed bool // since the policy last looked
}

// policy says which cars are opened next: called whenever something has changed, and
// every tick for those that have a plan with times.
type policy interface {
	next(f *floor)
}

func newFloor(w *world, p policy) *floor {
	f := &floor{world: w, policy: p, now: monday}
	for i := range w.cars {
		f.works = append(f.works, &work{car: &w.cars[i], bay: none, person: none})
	}
	return f
}

// run lets the month pass.
func (f *floor) run() {
	for end := day(workdays + sparedays); f.now.Before(end); f.now = f.now.Add(tick) {
		if !f.openHours() {
			continue
		}
		f.happen()
		f.policy.next(f)
		f.changed = false
		f.pass()
	}
}

// openHours are those in which anybody is there at all.
func (f *floor) openHours() bool {
	minute := f.now.Hour()*60 + f.now.Minute()
	weekday := f.now.Weekday()
	return weekday != time.Saturday && weekday != time.Sunday && minute >= 8*60 && minute < 17*60 && (minute < 12*60 || minute >= 12*60+30)
}

func (f *floor) isIll(person int) bool {
	return slices.ContainsFunc(f.ill, func(a absence) bool {
		return a.person == person && !f.now.Before(a.when.Start) && f.now.Before(a.when.End)
	})
}

// happen notes what is new, lets go of who is ill, and gives open cars without anybody to who is free.
func (f *floor) happen() {
	for _, a := range f.ill {
		f.changed = f.changed || a.when.Start.Equal(f.now) || f.justPassed(a.when.End)
	}
	for _, w := range f.works {
		f.changed = f.changed || f.justPassed(w.arrives) || f.justPassed(w.expected) || f.justPassed(w.called) || f.justPassed(w.partsCome)
		if w.inBay() && w.person != none && (f.isIll(w.person) || w.stalled(f.now)) {
			w.person, f.changed = none, true
		}
	}
	for _, w := range f.works {
		if w.inBay() && w.person == none && !w.stalled(f.now) {
			if who := f.freePerson(w); who != none {
				w.person, f.changed = who, true
			}
		}
	}
}

// justPassed tells whether a moment lies between the last open tick and now.
func (f *floor) justPassed(t time.Time) bool {
	if t.IsZero() || t.After(f.now) {
		return false
	}
	before := f.now.Add(-tick)
	if f.now.Hour() == 8 && f.now.Minute() == 0 || f.now.Hour() == 12 {
		before = f.now.Add(-64 * time.Hour)
	}
	return t.After(before)
}

// pass lets everybody work for a tick.
func (f *floor) pass() {
	for _, w := range f.works {
		switch {
		case !w.inBay():
		case w.person == none:
			f.deadBay += tick
		default:
			w.worked += tick
			if !w.seen && w.found > 0 && w.worked >= (w.effort-w.found)/2 {
				w.seen, f.changed = true, true
			}
			if w.worked >= w.effort {
				w.ended, w.person, f.changed = f.now.Add(tick), none, true
			}
		}
	}
}

func (f *floor) freePerson(w *work) int {
	best := none
	for i, h := range f.people {
		able := !slices.ContainsFunc(w.skills, func(s string) bool {
			return !slices.ContainsFunc(h.Skills, func(k planner.Skill) bool { return k.Name == s })
		})
		if able && f.personFree(i) && (best == none || len(h.Skills) < len(f.people[best].Skills)) {
			best = i
		}
	}
	return best
}

func (f *floor) personFree(i int) bool {
	return !f.isIll(i) && !slices.ContainsFunc(f.works, func(w *work) bool { return w.inBay() && w.person == i })
}

func (f *floor) bayFree(i int) bool {
	return !slices.ContainsFunc(f.works, func(w *work) bool { return w.inBay() && w.bay == i })
}

// freeBay gives a free bay of a kind, the one that is good for least first: the last kinds are the rarest.
func (f *floor) freeBay(w *work) int {
	for i := len(f.bays) - 1; i >= 0; i-- {
		if (len(w.kinds) == 0 || slices.Contains(w.kinds, f.bays[i].Kind)) && f.bayFree(i) {
			return i
		}
	}
	return none
}

// open begins work on a car.
func (f *floor) open(w *work, bay, person int) {
	w.bay, w.person, w.started, f.changed = bay, person, f.now, true
}
