package rcpsp

import (
	"slices"
	"sync"
)

// stayFor is how many generations an island lives alone.
const stayFor = 5

// share gives one island's part of a count; zero stays without end. Each island
// makes at least one schedule.
func share(count, islands, i int) int {
	if count <= 0 {
		return 0
	}
	part := count / islands
	if i < count%islands {
		part++
	}
	return max(1, part)
}

// together runs the islands in rounds. Only between two rounds do they look at each
// other, so that it does not matter which is faster.
func together(islands []*search) {
	each(islands, func(s *search) { s.populate(populationFor(s.asked, s.nets[0].n)) })
	for !over(islands) {
		each(islands, func(s *search) {
			for range stayFor {
				if !s.done() {
					s.generation()
				}
			}
		})
		if len(islands) > 1 {
			visit(islands)
		}
	}
}

func each(islands []*search, do func(*search)) {
	if len(islands) == 1 {
		do(islands[0])
		return
	}
	var all sync.WaitGroup
	for _, s := range islands {
		all.Go(func() { do(s) })
	}
	all.Wait()
}

// over: every island is done, or one has reached the bound.
func over(islands []*search) bool {
	done := true
	for _, s := range islands {
		if s.best.makespan == s.bound {
			return true
		}
		done = done && s.done()
	}
	return done
}

// visit gives every island the best of the one before it, in both directions.
func visit(islands []*search) {
	for dir := range 2 {
		var guests []schedule
		for _, s := range islands {
			guests = append(guests, s.fittest(dir))
		}
		for i, s := range islands {
			if guest := guests[(i+len(islands)-1)%len(islands)]; guest.finish != nil && len(s.pop[dir]) > 0 {
				replaceWorst(s.pop[dir], guest)
			}
		}
	}
}

func (s *search) fittest(dir int) schedule {
	if len(s.pop[dir]) == 0 {
		return schedule{}
	}
	return slices.MinFunc(s.pop[dir], func(a, b schedule) int {
		switch {
		case a.cost < b.cost:
			return -1
		case a.cost > b.cost:
			return 1
		}
		return 0
	})
}
