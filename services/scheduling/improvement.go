package scheduling

import (
	"fmt"
	"math"
	"slices"
	"time"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/engine/planner"
	"ramprow/internal/platform/sitelog"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

const (
	// leastSaved is what an improvement must save, in weighted minutes and beyond what its
	// moves cost, so that people are not moved about for little.
	leastSaved = 60.0
	// soon is how long before its start a booking is left where it is: its car and its
	// technician are on their way.
	soon = time.Hour
	// lead is how long after now the earliest start lies that is looked for: until the plan is
	// found and told, time passes.
	lead = grid
)

// improvement is a plan that was found beside the writer.
type improvement struct {
	// relocations are the jobs that lie elsewhere in it.
	relocations []relocation
}

// relocation is where a job lay when the plan was found, and where it shall lie.
type relocation struct {
	from *schedulingv1.Booking // nil: nowhere
	to   planner.Placement
}

// improvable is the problem that a search beside the writer may work at: what the
// dispatcher moved by hand within a day stays, as what is pinned does, and what
// begins soon.
func (st *State) improvable(now time.Time) planner.Problem {
	p := st.problem(now, order{})
	byHand := map[string]bool{}
	for _, m := range st.moves {
		if m.At.Add(moveKept).After(now) {
			for _, job := range m.Made.GetJobs() {
				byHand[job] = true
			}
		}
	}
	for i := range p.Jobs {
		j := &p.Jobs[i]
		if j.Current != nil && (byHand[j.Name] || j.Current.When.Start.Before(now.Add(soon))) {
			j.Pinned = true
		}
	}
	return p
}

// booked is the plan that the bookings are.
func (st *State) booked() planner.Plan {
	var plan planner.Plan
	for _, job := range st.jobs() {
		if w := st.open[job]; w.booked() && w.placeable() {
			plan.Placements = append(plan.Placements, placementOf(job, w.booking))
		}
	}
	return plan
}

// lookFor searches for a better plan than the bookings are; nothing, if they do not
// fit any more, which others see to, or if too little would be saved.
func (st *State) lookFor(now time.Time, o planner.Search) (*improvement, error) {
	p, booked := st.improvable(now.Add(lead)), st.booked()
	lies, misfits, err := planner.Stand(p, booked)
	if err != nil || len(misfits) > 0 {
		return nil, err
	}
	better, err := planner.Improve(p, booked, o)
	if err != nil {
		return nil, err
	}
	if lies.Cost.Total()-better.Cost.Total() < leastSaved {
		return nil, nil //nolint:nilnil // nothing was found, and that is no error
	}
	found := &improvement{}
	for _, at := range better.Placements {
		w := st.open[at.Job]
		switch {
		case w.started():
		case !w.booked():
			found.relocations = append(found.relocations, relocation{to: at})
		case !liesAt(w.booking, at):
			found.relocations = append(found.relocations, relocation{from: w.booking, to: at})
		}
	}
	return found, nil
}

func liesAt(b *schedulingv1.Booking, at planner.Placement) bool {
	c := currentOf(b)
	return c.Bay == at.Bay && c.Person == at.Person && slices.Equal(c.Tools, at.Tools) && c.When.Start.Equal(at.When.Start)
}

// adopt decides whether an improvement still fits and still pays: what it moves must lie
// where it lay, and everything together must fit and cost less by enough. If not, it
// saves nothing and there are no events: nobody has asked for it, so nobody need be told.
func (st *State) adopt(found *improvement, in sitelog.Input) (events []proto.Message, saved float64, err error) {
	p, booked := st.improvable(in.Now), st.booked()
	before, misfits, err := planner.Stand(p, booked)
	if err != nil || len(misfits) > 0 {
		return nil, 0, err
	}
	moved := map[string]bool{}
	for _, r := range found.relocations {
		if !st.undisturbed(r) {
			return nil, 0, nil
		}
		moved[r.to.Job] = true
	}
	booked.Placements = slices.DeleteFunc(booked.Placements, func(at planner.Placement) bool { return moved[at.Job] })
	for _, r := range found.relocations {
		booked.Placements = append(booked.Placements, r.to)
	}
	after, misfits, err := planner.Stand(p, booked)
	if err != nil || len(misfits) > 0 {
		return nil, 0, err
	}
	if saved = before.Cost.Total() - after.Cost.Total(); saved < leastSaved {
		return nil, 0, nil
	}
	d := newDraft(st, in)
	err = d.improve(p, after, moved, saves(len(moved), saved))
	return d.events, saved, err
}

// undisturbed tells whether a job lies where it lay when it was planned.
func (st *State) undisturbed(r relocation) bool {
	w := st.open[r.to.Job]
	if w == nil || w.started() || !w.placeable() {
		return false
	}
	if r.from == nil {
		return !w.booked()
	}
	return w.booked() && !w.booking.GetPinned() && samePlace(w.booking, r.from)
}

// improve adds the moves of a better plan, and what they do to the promises of others.
func (d *draft) improve(p planner.Problem, plan planner.Plan, moved map[string]bool, cause string) error {
	o := order{cause: cause, improved: true}
	if err := d.foresee(p, plan, o); err != nil {
		return err
	}
	placed := placements(plan)
	for _, job := range d.state.jobs() {
		w := d.state.open[job]
		at, ok := placed[job]
		if !ok || w.started() {
			continue
		}
		if moved[job] {
			at.Why = cause + "; " + at.Why
		}
		if moved[job] || liesAt(w.booking, at) {
			d.settle(w, at, o)
		}
	}
	return nil
}

// saves says in words what an improvement is good for. A weighted minute is one of an
// ordinary job that waits for nothing else; planner's README has the weights.
func saves(moves int, saved float64) string {
	text := spokenDuration(time.Duration(math.Round(saved)) * time.Minute)
	switch moves {
	case 1:
		return "improved: this move saves " + text + " (weighted)"
	case 2:
		return "improved: this move and another save " + text + " (weighted)"
	default:
		return fmt.Sprintf("improved: this move and %d others save %s (weighted)", moves-1, text)
	}
}
