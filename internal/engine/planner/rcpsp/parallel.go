package rcpsp

import (
	"cmp"
	"slices"
)

// parallel is the parallel generation scheme: from event to event it starts what
// fits, as pick chooses. It fills finish and gives the makespan. Its schedules never
// wait for something better, so the shortest may be out of its reach, but on large
// and scarce projects it is better than the serial scheme, and on all of them a few
// of its schedules among the others' keep a population from growing alike. Cost:
// activities times those that could start.
func (s *search) parallel(dir int, finish []int32, pick func(w *network, fitting []int32) int32) int32 {
	w := s.nets[dir]
	eligible, running := s.ready(w), s.running[:0]
	free := append(s.free[:0], w.full...)
	var now int32
	for {
		for fitting := s.fit(w, free, eligible); len(fitting) > 0; fitting = s.fit(w, free, eligible) {
			a := pick(w, fitting)
			finish[a] = now + w.durations[a]
			eligible = without(eligible, a)
			if w.durations[a] == 0 {
				eligible = s.opened(w, a, eligible)
				continue
			}
			w.take(free, a)
			running = append(running, a)
		}
		if len(running) == 0 {
			s.eligible, s.running, s.free = eligible, running, free
			return now
		}
		now = finish[running[0]]
		for _, a := range running {
			now = min(now, finish[a])
		}
		still := running[:0]
		for _, a := range running {
			if finish[a] > now {
				still = append(still, a)
				continue
			}
			w.give(free, a)
			eligible = s.opened(w, a, eligible)
		}
		running = still
	}
}

// foremost picks by the list: what stands first in it.
func (s *search) foremost(_ *network, fitting []int32) int32 {
	return slices.MinFunc(fitting, func(a, b int32) int { return cmp.Compare(s.place[a], s.place[b]) })
}

// drawn picks as sample does.
func (s *search) drawn(w *network, fitting []int32) int32 {
	return fitting[s.draw(w, fitting, s.chances[:0])]
}

// ready gives what may come first, and counts for the others what they wait for.
func (s *search) ready(w *network) []int32 {
	eligible := s.eligible[:0]
	for a := range w.n {
		if s.open[a] = len(w.preds[a]); s.open[a] == 0 {
			eligible = append(eligible, int32(a))
		}
	}
	return eligible
}

// fit gives those for which enough is free.
func (s *search) fit(w *network, free []uint64, eligible []int32) []int32 {
	s.fitting = s.fitting[:0]
	for _, a := range eligible {
		if w.fits(free, a) {
			s.fitting = append(s.fitting, a)
		}
	}
	return s.fitting
}

// opened adds what waited for an activity alone.
func (s *search) opened(w *network, a int32, eligible []int32) []int32 {
	for _, next := range w.succs[a] {
		if s.open[next]--; s.open[next] == 0 {
			eligible = append(eligible, next)
		}
	}
	return eligible
}

func (w *network) fits(free []uint64, a int32) bool {
	for i, row := range free {
		if ((row|guardBits)-w.need[i][a])&guardBits != guardBits {
			return false
		}
	}
	return true
}

func (w *network) take(free []uint64, a int32) {
	for i := range free {
		free[i] -= w.need[i][a]
	}
}

func (w *network) give(free []uint64, a int32) {
	for i := range free {
		free[i] += w.need[i][a]
	}
}

func without(list []int32, a int32) []int32 {
	for i, b := range list {
		if a == b {
			list[i] = list[len(list)-1]
			return list[:len(list)-1]
		}
	}
	return list
}
