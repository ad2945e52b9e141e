package scheduling

import (
	"maps"
	"slices"
	"time"

	"ramprow/internal/platform/shelf"
	"ramprow/internal/platform/statecode"
	"ramprow/internal/workhours"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// foldVersion is raised when evolve makes something else of the same events, so
// that snapshots of the old fold are not used.
const foldVersion = 1

// kept is what a snapshot holds of a site.
type kept struct {
	Resources   map[string]*schedulingv1.Resource
	ClosedDays  map[string]*schedulingv1.ClosedDay
	Open, Ended map[string]keptWork
	Blocks      uint64
	Entries     uint64
	Shelf       shelf.Kept
	ArchivedTo  time.Time
	Moves       []handMove
	Moved       uint64
	Zone        string
	Learned     learned
}

type keptWork struct {
	Demand  *schedulingv1.Demand
	Booking *schedulingv1.Booking
}

// snapshot copies the maps alone: what hangs in them is never changed in place.
func snapshot(st *State) func() ([]byte, error) {
	resources, open, ended := maps.Clone(st.resources), maps.Clone(st.open), maps.Clone(st.ended)
	closed := maps.Clone(st.closedDays)
	k := kept{Blocks: st.blocks, Entries: st.entries, Shelf: st.shelf.Keep(), ArchivedTo: st.archivedTo, Moves: slices.Clone(st.moves), Moved: st.moved, Zone: st.zone.String(), Learned: st.learned}
	return func() ([]byte, error) {
		k.Resources, k.ClosedDays, k.Open, k.Ended = resources, closed, keepWork(open), keepWork(ended)
		return statecode.Encode(&k)
	}
}

func keepWork(jobs map[string]*work) map[string]keptWork {
	k := make(map[string]keptWork, len(jobs))
	for job, w := range jobs {
		k[job] = keptWork{Demand: w.demand, Booking: w.booking}
	}
	return k
}

func restore(site string, data []byte) (*State, error) {
	var k kept
	if err := statecode.Decode(data, &k); err != nil {
		return nil, err
	}
	st := newState(site)
	st.resources, st.blocks, st.entries = k.Resources, k.Blocks, k.Entries
	if k.ClosedDays != nil { // a map that was empty is not kept
		st.closedDays = k.ClosedDays
	}
	st.moves, st.moved, st.zone = k.Moves, k.Moved, workhours.Zone(k.Zone)
	st.learned = k.Learned
	st.shelf, st.archivedTo = k.Shelf.Shelf(), k.ArchivedTo
	for job, w := range k.Open {
		st.open[job] = &work{demand: w.Demand, booking: w.Booking}
	}
	for job, w := range k.Ended {
		st.ended[job] = &work{demand: w.Demand, booking: w.Booking}
	}
	return st, nil
}
