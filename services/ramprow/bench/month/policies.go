package month

import (
	"cmp"
	"slices"
	"time"

	"ramprow/internal/engine/planner"
)

// byRule opens whatever car is there, in the order of a rule, as soon as there is a bay
// and somebody for it.
type byRule struct{ before func(a, b *work) int }

func firstCome() policy {
	return byRule{func(a, b *work) int { return a.arrives.Compare(b.arrives) }}
}

func shortest() policy {
	return byRule{func(a, b *work) int { return cmp.Compare(a.p50, b.p50) }}
}

func (r byRule) next(f *floor) {
	if !f.changed {
		return
	}
	var there []*work
	for _, w := range f.works {
		if w.bay == none && !w.arrives.After(f.now) {
			there = append(there, w)
		}
	}
	slices.SortStableFunc(there, r.before)
	for _, w := range there {
		if bay, who := f.freeBay(w), f.freePerson(w); bay != none && who != none {
			f.open(w, bay, who)
		}
	}
}

// byPlan plans all that is booked whenever something has changed, and opens cars in the
// plan's order on each bay and for each person.
type byPlan struct {
	// record makes promises of what is foreseen and learned, and plans with what four of
	// five do not exceed. Without one, it plans with means and promises the plan's end.
	record   *record
	current  map[string]*planner.Current
	promised map[string]said
	plans    int
	failed   error
}

// said is a first promise, with the plan's end and what its runs foresaw.
type said struct{ at, foreseen, planned time.Time }

func newByPlan(r *record) *byPlan {
	return &byPlan{record: r, current: map[string]*planner.Current{}, promised: map[string]said{}}
}

func (b *byPlan) planned(w *work) time.Duration {
	if b.record != nil {
		return w.p80
	}
	return w.mean()
}

func (b *byPlan) next(f *floor) {
	if f.changed && b.failed == nil {
		b.replan(f)
	}
	b.begin(f)
}

// begin opens every car that is next in its bay and for its person, and is there.
func (b *byPlan) begin(f *floor) {
	var waiting []*work
	for _, w := range f.works {
		if w.bay == none && b.current[w.name] != nil {
			waiting = append(waiting, w)
		}
	}
	slices.SortStableFunc(waiting, func(x, y *work) int {
		return b.current[x.name].When.Start.Compare(b.current[y.name].When.Start)
	})
	taken := map[string]bool{}
	for _, w := range waiting {
		at := b.current[w.name]
		bay := slices.IndexFunc(f.bays, func(x planner.Bay) bool { return x.Name == at.Bay })
		who := slices.IndexFunc(f.people, func(x planner.Person) bool { return x.Name == at.Person })
		first := !taken[at.Bay] && !taken[at.Person]
		taken[at.Bay], taken[at.Person] = true, true
		if first && !w.arrives.After(f.now) && !b.release(w, f.now).After(f.now) && f.bayFree(bay) && f.personFree(who) {
			f.open(w, bay, who)
			taken[at.Bay], taken[at.Person] = false, false
		}
	}
}

// release is when a car may be opened: when it is there, and when its parts will be
// there by the time they are needed. One that is late is thought to come in an hour.
func (b *byPlan) release(w *work, now time.Time) time.Time {
	at := w.expected
	if !at.After(now) && w.arrives.After(now) {
		at = now.Add(time.Hour)
	}
	eta := w.partsEta
	if !eta.IsZero() && !eta.After(now) && w.partsCome.After(now) {
		eta = now.Add(24 * time.Hour) // they have not come; tomorrow, then
	}
	if needed := eta.Add(-w.untilPart); !w.partsEta.IsZero() && w.partsCome.After(now) && needed.After(at) {
		at = needed
	}
	return at
}

func (b *byPlan) replan(f *floor) {
	p := planner.Problem{Now: f.now, Grid: tick, Grace: tick, Bays: f.bays}
	for i, h := range f.people {
		for _, a := range f.ill {
			if a.person == i && !a.when.Start.After(f.now) && a.when.End.After(f.now) {
				h.Calendar.Blocks = append(h.Calendar.Blocks, planner.Block{When: a.when, Why: "ill"})
			}
		}
		p.People = append(p.People, h)
	}
	for _, w := range f.works {
		if w.ended.IsZero() && !w.called.After(f.now) {
			p.Jobs = append(p.Jobs, b.job(f, w))
		}
	}
	plan, err := planner.Make(p)
	if err != nil {
		b.failed = err
		return
	}
	b.plans++
	clear(b.current)
	for _, at := range plan.Placements {
		b.current[at.Job] = &planner.Current{Bay: at.Bay, Person: at.Person, When: at.When}
	}
	b.promise(f, p, plan)
}

// promise gives every newly booked car the promise of the plan.
func (b *byPlan) promise(f *floor, p planner.Problem, plan planner.Plan) {
	known := map[string]*work{}
	anew := false
	for _, w := range f.works {
		known[w.name] = w
		anew = anew || b.current[w.name] != nil && b.promised[w.name].at.IsZero()
	}
	if !anew {
		return
	}
	outlooks, err := planner.Foresee(p, plan, func(job string) planner.Spread {
		return planner.Spread{P50: known[job].left(known[job].p50), P80: known[job].left(known[job].p80)}
	})
	if err != nil {
		b.failed = err
		return
	}
	for _, at := range plan.Placements {
		if !b.promised[at.Job].at.IsZero() {
			continue
		}
		p := said{at: at.When.End, foreseen: outlooks[at.Job].P80, planned: at.When.End}
		if b.record != nil {
			p.at = b.record.say(known[at.Job], f.now, p)
		}
		b.promised[at.Job] = p
	}
}

func (b *byPlan) job(f *floor, w *work) planner.Job {
	j := planner.Job{
		Name: w.name, Effort: b.planned(w), BayKinds: w.kinds, Skills: w.skills, Due: w.due,
		Release: b.release(w, f.now), Current: b.current[w.name],
	}
	if w.bay == none {
		return j
	}
	j.Current = nil
	j.Started = &planner.Started{At: w.started, Bay: f.bays[w.bay].Name, Since: f.now, Left: w.left(b.planned(w))}
	if w.person != none {
		j.Started.Person = f.people[w.person].Name
	}
	if w.stalled(f.now) {
		j.Started.PartsAt = later(w.partsEta, f.now.Add(time.Hour))
	} else if !w.partsEta.IsZero() && f.now.Before(w.partsCome) {
		j.Started.PartsAt, j.Started.PartsAfter = w.partsEta, max(0, w.untilPart-w.worked)
	}
	return j
}

func later(a, b time.Time) time.Time {
	if a.Before(b) {
		return b
	}
	return a
}
