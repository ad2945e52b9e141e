package scheduling

import (
	"maps"

	"ramprow/internal/platform/statecode"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// foldVersion is raised when evolve makes something else of the same events, so
// that snapshots of the old fold are not used.
const foldVersion = 1

// kept is what a snapshot holds of a site.
type kept struct {
	Resources   map[string]*schedulingv1.Resource
	Open, Ended map[string]keptWork
	Blocks      uint64
}

type keptWork struct {
	Demand  *schedulingv1.Demand
	Booking *schedulingv1.Booking
}

// snapshot copies the maps alone: what hangs in them is never changed in place.
func snapshot(st *State) func() ([]byte, error) {
	resources, open, ended := maps.Clone(st.resources), maps.Clone(st.open), maps.Clone(st.ended)
	blocks := st.blocks
	return func() ([]byte, error) {
		return statecode.Encode(&kept{Resources: resources, Open: keepWork(open), Ended: keepWork(ended), Blocks: blocks})
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
	st.resources, st.blocks = k.Resources, k.Blocks
	for job, w := range k.Open {
		st.open[job] = &work{demand: w.Demand, booking: w.Booking}
	}
	for job, w := range k.Ended {
		st.ended[job] = &work{demand: w.Demand, booking: w.Booking}
	}
	return st, nil
}
