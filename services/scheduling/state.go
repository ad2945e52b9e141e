package scheduling

import (
	"maps"
	"slices"
	"time"

	"ramprow/internal/platform/shelf"
	"ramprow/internal/workhours"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// State is all that scheduling knows of a site. Whatever hangs in its maps is
// replaced and never changed in place, so that a fork can share it.
type State struct {
	// zone is where shifts are read and times are said.
	zone      *time.Location
	resources map[string]*schedulingv1.Resource
	// closedDays are on which days the site is closed, by name.
	closedDays map[string]*schedulingv1.ClosedDay
	// open holds the jobs that are not over, by name; ended the others.
	open  map[string]*work
	ended map[string]*work
	// shelf says where those are that have left ended, and archivedTo when the
	// last of them left its bay.
	shelf      shelf.Shelf
	archivedTo time.Time
	// blocks counts the blocks ever made, for their names.
	blocks uint64
	// entries counts overtime and maintenance ever planned, for their names.
	entries uint64
	// moves are the last ones made by hand, the newest last; moved counts all of them.
	moves []handMove
	moved uint64
	// learned is how promises turned out.
	learned learned
}

// work is what is known of one job.
type work struct {
	demand *schedulingv1.Demand
	// booking is nil until the job was booked or has said what it waits for.
	booking *schedulingv1.Booking
}

func newState(string) *State {
	return &State{
		zone:       time.UTC,
		resources:  map[string]*schedulingv1.Resource{},
		closedDays: map[string]*schedulingv1.ClosedDay{},
		open:       map[string]*work{},
		ended:      map[string]*work{},
	}
}

// fork is a copy to try events on. Jobs that are over are left out: no plan looks at them.
func (st *State) fork() *State {
	return &State{
		zone: st.zone, blocks: st.blocks, entries: st.entries, moves: slices.Clone(st.moves), moved: st.moved,
		resources: maps.Clone(st.resources), closedDays: maps.Clone(st.closedDays), open: maps.Clone(st.open), ended: map[string]*work{},
		learned: st.learned,
	}
}

// site is what tells when resources can be used.
func (st *State) site() workhours.Site {
	return workhours.Site{Zone: st.zone, ClosedDays: st.closedDays}
}

// jobs gives the open jobs by number.
func (st *State) jobs() []string {
	return slices.SortedFunc(maps.Keys(st.open), compareJobs)
}

// known is the demand to build on: of the open job, or of the ended one that
// comes back, with what inventory has said meanwhile.
func (st *State) known(job string) *schedulingv1.Demand {
	w, ended := st.open[job], st.ended[job]
	if ended == nil || w != nil && w.demand.GetPlanRevision() > 0 {
		if w == nil {
			return &schedulingv1.Demand{Job: job}
		}
		return clone(w.demand)
	}
	base := clone(ended.demand)
	if w != nil {
		base.PartsKnown, base.PartsEta = w.demand.GetPartsKnown(), w.demand.GetPartsEta()
		base.PartsRevision, base.PartsMissing = w.demand.GetPartsRevision(), w.demand.GetPartsMissing()
	}
	return base
}

func (w *work) state() schedulingv1.BookingState { return w.booking.GetState() }

func (w *work) started() bool {
	return w.state() == schedulingv1.BookingState_BOOKING_STATE_STARTED
}

// since is when the demand's effort was what is left, of work that has begun.
func (w *work) since() time.Time {
	started, counted := timeOf(w.booking.GetStartedAt()), timeOf(w.demand.GetLeftSince())
	if counted.Before(started) {
		return started
	}
	return counted
}

// onBoard tells whether it has a place.
func (w *work) onBoard() bool { return w.started() || w.booked() }

func (w *work) booked() bool {
	return w.state() == schedulingv1.BookingState_BOOKING_STATE_BOOKED
}
