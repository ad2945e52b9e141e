package scheduling

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"ramprow/internal/engine/planner"
	commonv1 "ramprow/proto/ramprow/common/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

const (
	// grid is what starts are rounded up to.
	grid = 5 * time.Minute
	// startGrace is how long a booked start may pass with nobody starting before it is
	// pushed on, and so also how often one booking is pushed at most.
	startGrace = 15 * time.Minute
	// overrunStep is the work added to a booking that runs past its end, and so how
	// often one booking grows at most.
	overrunStep = 15 * time.Minute
	// leastEffort keeps a job that claims to be nothing from lying nowhere.
	leastEffort = time.Minute
)

// order is what a plan is made for.
type order struct {
	// cause says in words what has changed, for those who must move.
	cause string
	// improved tells that the plan was found beside the writer.
	improved bool
	// starting is the job whose work begins now.
	starting string
	// respread tells that work on the board has become more or less certain.
	respread bool
	// asked are the jobs that shall go somewhere.
	asked map[string]asked
	// before is where other jobs shall lie again, if they can.
	before map[string]*schedulingv1.Place
}

// asked is where a job shall go, and whether it shall stay there.
type asked struct {
	wish      planner.Wish
	pin       bool
	pinReason string
}

func (o order) asks(job string) bool {
	_, ok := o.asked[job]
	return ok
}

// problem is the site as the planner sees it: resources in use, and the jobs
// that can be placed. The others wait.
func (st *State) problem(now time.Time, o order) planner.Problem {
	p := planner.Problem{Now: now, Zone: st.zone, Grid: grid, Grace: startGrace}
	within := st.reach(now)
	for _, name := range st.resourceNames() {
		r := st.resources[name]
		if r.GetRetired() {
			continue
		}
		switch r.GetKind() {
		case schedulingv1.ResourceKind_RESOURCE_KIND_BAY:
			p.Bays = append(p.Bays, planner.Bay{Name: name, Kind: r.GetType(), Calendar: st.site().Calendar(r, within)})
		case schedulingv1.ResourceKind_RESOURCE_KIND_PERSON:
			p.People = append(p.People, planner.Person{Name: name, Skills: skillsOf(r), Calendar: st.site().Calendar(r, within)})
		case schedulingv1.ResourceKind_RESOURCE_KIND_TOOL:
			p.Tools = append(p.Tools, planner.Tool{Name: name, Type: r.GetType(), Calendar: st.site().Calendar(r, within)})
		case schedulingv1.ResourceKind_RESOURCE_KIND_UNSPECIFIED:
		}
	}
	for _, job := range st.jobs() {
		w := st.open[job]
		if job == o.starting || w.placeable() {
			p.Jobs = append(p.Jobs, st.planned(w, now, o))
		}
	}
	return p
}

func (w *work) placeable() bool { return w.started() || w.waitsFor() == "" }

// wanted is a job as the planner sees it when nothing is asked for; nil: not at all.
func (st *State) wanted(job string, now time.Time) *planner.Job {
	w := st.open[job]
	if w == nil || !w.placeable() {
		return nil
	}
	j := st.planned(w, now, order{})
	return &j
}

// waitsFor says what keeps a job from being planned at all; empty: nothing.
func (w *work) waitsFor() string {
	d := w.demand
	switch {
	case d.GetPlanRevision() == 0:
		return "its diagnosis is not confirmed"
	case d.GetPartsMissing() != "":
		return d.GetPartsMissing()
	case !d.GetPartsKnown(), d.GetPartsRevision() < d.GetPlanRevision() && !w.booked():
		return "inventory has not said yet whether its parts are there"
	}
	return ""
}

// planned is one job as the planner sees it.
func (st *State) planned(w *work, now time.Time, o order) planner.Job {
	d, b := w.demand, w.booking
	j := planner.Job{
		Name: d.GetJob(), Effort: effortOf(d.GetEffort()), Due: timeOf(d.GetWantedBy()),
		BayKinds: d.GetBayKinds(), Skills: d.GetSkills(), ToolTypes: d.GetTools(),
		Priority: int(min(d.GetPriority(), planner.MaxPriority)),
	}
	j.Release, j.ReleaseWhy = st.release(d)
	if w.booked() {
		j.Current = currentOf(b)
		j.Pinned = b.GetPinned()
		if p := o.before[d.GetJob()]; p.GetWhen() != nil {
			j.Current = currentOf(p)
		}
	}
	a, isAsked := o.asked[d.GetJob()]
	switch {
	case d.GetJob() == o.starting:
		j.Started = st.begun(w, now)
	case w.started():
		// After a clock was set back, work still began no later than now: its bay is taken.
		j.Started = startedOf(w, earlier(timeOf(b.GetStartedAt()), now), earlier(w.since(), now))
		j.Started.Bay = orElse(a.wish.Bay, j.Started.Bay)
		j.Started.Person = orElse(a.wish.Person, j.Started.Person)
	case isAsked:
		j.Wish, j.Current, j.Pinned = &a.wish, nil, false
	}
	return j
}

// lying is a booking, or a place that one had.
type lying interface {
	GetBay() string
	GetTechnician() string
	GetTools() []string
	GetWhen() *commonv1.Interval
}

func currentOf(l lying) *planner.Current {
	return &planner.Current{
		Bay: l.GetBay(), Person: l.GetTechnician(), Tools: l.GetTools(),
		When: planner.Interval{Start: timeOf(l.GetWhen().GetStart()), End: timeOf(l.GetWhen().GetEnd())},
	}
}

// release is the earliest start: the car must be there, and the parts when they
// are needed.
func (st *State) release(d *schedulingv1.Demand) (time.Time, string) {
	at, why := timeOf(d.GetEarliestStart()), "the car comes"
	if eta := timeOf(d.GetPartsEta()); !eta.IsZero() {
		if needed := eta.Add(-d.GetUntilPartsNeeded().AsDuration()); needed.After(at) {
			at = needed
			why = fmt.Sprintf("the parts, expected on %s, are in time", eta.In(st.zone).Format(clockLayout))
		}
	}
	return at, why
}

func earlier(a, b time.Time) time.Time {
	if b.Before(a) {
		return b
	}
	return a
}

// clockLayout is how moments are said to people.
const clockLayout = "Mon 2 Jan 15:04"

func startedOf(w *work, at, since time.Time) *planner.Started {
	return &planner.Started{
		At: at, Bay: w.booking.GetBay(), Person: w.booking.GetTechnician(), Tools: w.booking.GetTools(),
		Since: since, Left: effortOf(w.demand.GetEffort()),
		PartsAt: timeOf(w.demand.GetPartsEta()), PartsAfter: w.demand.GetUntilPartsNeeded().AsDuration(),
	}
}

// begun is work that begins now. What other begun work is known to hold cannot
// be held by this one too, whatever was booked: the planner assumes what is free.
func (st *State) begun(w *work, now time.Time) *planner.Started {
	s := startedOf(w, now, now)
	for job, other := range st.open {
		if !other.started() || job == w.demand.GetJob() {
			continue
		}
		if other.booking.GetBay() == s.Bay {
			s.Bay = ""
		}
		if other.booking.GetTechnician() == s.Person {
			s.Person = ""
		}
		s.Tools = slices.DeleteFunc(slices.Clone(s.Tools), func(t string) bool {
			return slices.Contains(other.booking.GetTools(), t)
		})
	}
	return s
}

// effortOf is what a booking is long: four of five cases take no longer. It is
// rounded up to the minute.
func effortOf(s *commonv1.Spread) time.Duration {
	effort := max(s.GetP80().AsDuration(), s.GetP50().AsDuration(), s.GetMean().AsDuration())
	if rest := effort % time.Minute; rest > 0 {
		effort += time.Minute - rest
	}
	return max(effort, leastEffort)
}

func (st *State) resourceNames() []string {
	names := make([]string, 0, len(st.resources))
	for name := range st.resources {
		names = append(names, name)
	}
	slices.SortFunc(names, strings.Compare)
	return names
}

// reach is how far calendars are written out for a plan: from the beginning of all
// that lies on the board to the end of what is planned.
func (st *State) reach(now time.Time) planner.Interval {
	first := now
	for _, w := range st.open {
		if w.onBoard() {
			first = earlier(first, timeOf(w.booking.GetWhen().GetStart()))
		}
		if w.started() {
			first = earlier(first, earlier(timeOf(w.booking.GetStartedAt()), w.since()))
		}
	}
	return planner.Interval{Start: first.AddDate(0, 0, -1), End: now.Add(planner.DefaultHorizon).AddDate(0, 0, 1)}
}

func skillsOf(r *schedulingv1.Resource) []planner.Skill {
	var skills []planner.Skill
	for _, q := range r.GetSkills() {
		skills = append(skills, planner.Skill{Name: q.GetSkill(), Expires: timeOf(q.GetExpires())})
	}
	return skills
}
