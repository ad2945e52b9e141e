package rcpsp

import (
	"fmt"
	"math/rand/v2"
)

// Options of a search.
type Options struct {
	// Schedules bounds how often a generation scheme runs, in either direction; zero:
	// only Stop ends the search.
	Schedules int
	Seed      uint64
	// Stop is asked after each schedule; nil: never. A search that is stopped by it is
	// the beginning of the one that is not. With several islands it is called by all of
	// them at once.
	Stop func() bool
	// Starts of a schedule to begin with; nil: none. The result is no longer than it.
	Starts []int
	// Islands are populations of their own that share the schedules among them, run at
	// the same time, and give each other their best now and then; up to 1: one. For the
	// same seed and number the result is the same on any number of processors.
	Islands int
}

// Result is the best schedule found.
type Result struct {
	// Starts of the activities, in periods.
	Starts   []int
	Makespan int
	// LowerBound is what no schedule can undercut; equal to Makespan: proved optimal.
	LowerBound int
	// Schedules that were generated.
	Schedules int
}

// schedule is a solution of one direction: finish times in its network.
type schedule struct {
	finish   []int32
	makespan int32
	// cost orders schedules: by makespan, equals by how little work is left for the
	// end. Most have the same makespan; the second says which is about to get shorter.
	cost float64
}

// search is one run.
type search struct {
	nets    [2]*network // forward and backward
	decoder *decoder
	random  *rand.Rand
	asked   int // schedules, zero: no end
	made    int
	stop    func() bool
	stopped bool // once done, it stays so
	best    schedule
	bestDir int
	bound   int32
	pop     [2][]schedule // by direction
	begin   []int
	alike   float64 // share of twins among the latest children
	// room for a child
	keys []int64
	list []int32
	// place of each activity in the list, for the parallel scheme
	place []int32
	// room for a sample
	open                       []int
	eligible, running, fitting []int32
	free                       []uint64
	links                      []link
	work                       [2][]int64
	chances                    []float64
}

// Solve searches for a short schedule. The error says that the project
// contradicts itself, or that the schedule to begin with is not one of it.
func Solve(p Project, o Options) (Result, error) {
	forward, backward, err := compile(p)
	if err != nil {
		return Result{}, err
	}
	if o.Starts != nil && len(o.Starts) != forward.n {
		return Result{}, fmt.Errorf("rcpsp: %d starts for %d activities", len(o.Starts), forward.n)
	}
	islands := make([]*search, max(1, o.Islands))
	for i := range islands {
		s := newSearch(p, o, [2]*network{forward, backward}, rand.New(rand.NewPCG(o.Seed, 0x9e3779b97f4a7c15+uint64(i))))
		s.asked = share(o.Schedules, len(islands), i)
		islands[i] = s
	}
	together(islands)
	return result(islands), nil
}

func newSearch(p Project, o Options, nets [2]*network, random *rand.Rand) *search {
	n := nets[0].n
	return &search{
		nets: nets, decoder: newDecoder(nets[0]), random: random,
		stop: o.Stop, bound: bound(p, nets[0]), begin: o.Starts,
		keys: make([]int64, n), list: make([]int32, n), place: make([]int32, n), open: make([]int, n),
	}
}

// done tells whether the count is used up, the bound is reached, or somebody has
// said stop. The first schedule is always made.
func (s *search) done() bool {
	if s.made == 0 {
		return false
	}
	s.stopped = s.stopped || s.asked > 0 && s.made >= s.asked || s.best.makespan == s.bound || s.stop != nil && s.stop()
	return s.stopped
}

// decode generates one schedule from the list in a direction.
func (s *search) decode(dir int) schedule {
	finish := make([]int32, len(s.list))
	return s.note(dir, schedule{finish: finish, makespan: s.decoder.serial(s.nets[dir], s.list, finish)})
}

// note counts a schedule, and keeps it if it is the best so far.
func (s *search) note(dir int, made schedule) schedule {
	made.cost = float64(made.makespan) + s.nets[dir].lateWork(made)
	if s.made++; s.made == 1 || made.makespan < s.best.makespan {
		s.best, s.bestDir = made, dir
	}
	return made
}

// lateWork is the mean, by work, of the fourth power of how far into the schedule
// an activity ends: from 0 to below 1, and most of it comes from the last ones.
func (w *network) lateWork(of schedule) float64 {
	var sum, all float64
	for a, f := range of.finish {
		work := float64(w.weight[a]) * float64(w.durations[a])
		at := float64(f) / float64(of.makespan)
		sum += work * at * at * at * at
		all += work
	}
	if all == 0 {
		return 0
	}
	return 0.99 * sum / all
}

func result(islands []*search) Result {
	s, made := islands[0], 0
	for _, other := range islands {
		made += other.made
		if other.best.makespan < s.best.makespan {
			s = other
		}
	}
	r := Result{Makespan: int(s.best.makespan), LowerBound: int(s.bound), Schedules: made}
	for a, f := range s.best.finish {
		start := f - s.nets[0].durations[a]
		if s.bestDir == 1 {
			start = s.best.makespan - f
		}
		r.Starts = append(r.Starts, int(start))
	}
	return r
}
