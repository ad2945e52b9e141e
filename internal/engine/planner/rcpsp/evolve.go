package rcpsp

import (
	"cmp"
	"slices"
)

// run fills a population of left-justified schedules and lets the two
// directions breed each other until the count is used up.
func (s *search) run() {
	size := populationFor(s.left)
	parents := make([]schedule, 0, size)
	for range size {
		if s.done() {
			return
		}
		s.sample()
		parents = append(parents, s.decode(0, s.room()))
	}
	children := make([]schedule, 0, size)
	for i := range parents {
		if s.done() {
			return
		}
		s.justify(0, parents[i])
		children = append(children, s.decode(1, s.room()))
	}
	for dir := 1; !s.done(); dir = 1 - dir {
		parents, children = children, parents
		s.breed(dir, parents, children)
	}
}

func (s *search) room() []int32 { return make([]int32, s.nets[0].n) }

// populationFor is how many schedules each direction keeps.
func populationFor(schedules int) int {
	switch {
	case tuneSize > 0:
		return tuneSize
	case schedules <= 2000:
		return 25
	case schedules <= 10000:
		return 60
	default:
		return 150
	}
}

var tuneSize, tuneVariant int
var tuneMut, tuneMin, tuneMax = 0.02, 0.25, 0.75

// breed makes a child for every place of the other direction: the parent of the
// same place crossed with a good one. It takes the place if it is no longer.
func (s *search) breed(dir int, parents, children []schedule) {
	for i := range parents {
		if s.done() {
			return
		}
		mother := s.tournament(parents)
		father := parents[i]
		if mother == i {
			s.justify(dir, father)
		} else {
			s.cross(dir, father, parents[mother])
		}
		s.mutate(1 - dir)
		child := s.decode(1-dir, s.room())
		switch tuneVariant {
		case 0:
			if child.makespan <= children[i].makespan {
				children[i] = child
			}
		case 1:
			children[i] = child
		case 2:
			worst := 0
			for k := range children {
				if children[k].makespan > children[worst].makespan {
					worst = k
				}
			}
			if child.makespan <= children[worst].makespan {
				children[worst] = child
			}
		}
	}
}

func (s *search) tournament(all []schedule) int {
	a, b := s.random.IntN(len(all)), s.random.IntN(len(all))
	if all[b].makespan < all[a].makespan {
		return b
	}
	return a
}

// justify lists a schedule's activities for the other direction: what finishes
// last comes first.
func (s *search) justify(dir int, of schedule) {
	for a, f := range of.finish {
		s.keys[a] = int64(f)
	}
	s.sortByKeys(dir)
}

// cross lists two schedules' activities for the other direction. The stretch of
// the father in which the resources are used best stays as he has it; before and
// after it, the mother's order rules. What runs before, in and after the
// stretch is closed under precedence, so the list is feasible.
func (s *search) cross(dir int, father, mother schedule) {
	from, to := s.stretch(dir, father)
	const group = int64(1) << 40
	for a, f := range father.finish {
		switch {
		case f <= from:
			s.keys[a] = int64(mother.finish[a])
		case f <= to:
			s.keys[a] = group + int64(f)
		default:
			s.keys[a] = 2*group + int64(mother.finish[a])
		}
	}
	s.sortByKeys(dir)
}

// sortByKeys lists the activities by falling key; equals by falling rank, so
// that a successor without duration comes before what it follows.
func (s *search) sortByKeys(dir int) {
	for a := range s.list {
		s.list[a] = int32(a) //nolint:gosec // an index
	}
	rank := s.nets[dir].rank
	slices.SortFunc(s.list, func(a, b int32) int {
		if c := cmp.Compare(s.keys[b], s.keys[a]); c != 0 {
			return c
		}
		return cmp.Compare(rank[b], rank[a])
	})
}

// stretch picks a part of a schedule's time, between a quarter and three
// quarters long: of some drawn at random the one in which most is held.
func (s *search) stretch(dir int, of schedule) (from, to int32) {
	span := float64(of.makespan)
	length := int32(span * (tuneMin + s.random.Float64()*(tuneMax-tuneMin)))
	use := s.usage(dir, of)
	best := int64(-1)
	for range tuneDraws {
		at := s.random.Int32N(of.makespan - length + 1)
		if u := use[at+length] - use[at]; u > best {
			best, from, to = u, at, at+length
		}
	}
	return from, to
}

var tuneDraws = 3

// usage gives the running sum of the work done up to each period.
func (s *search) usage(dir int, of schedule) []int64 {
	w := s.nets[dir]
	sum := make([]int64, of.makespan+2)
	for a, f := range of.finish {
		if d := w.durations[a]; d > 0 {
			sum[f-d+1] += w.weight[a]
			sum[f+1] -= w.weight[a]
		}
	}
	for pass := 0; pass < 2; pass++ {
		for t := 1; t < len(sum); t++ {
			sum[t] += sum[t-1]
		}
	}
	return sum
}

// mutate moves some activities one place towards the front of the list, where
// precedence in the direction allows.
func (s *search) mutate(dir int) {
	w := s.nets[dir]
	for i := 1; i < len(s.list); i++ {
		if s.random.Float64() >= tuneMut {
			continue
		}
		if a, b := s.list[i-1], s.list[i]; !slices.Contains(w.succs[a], b) {
			s.list[i-1], s.list[i] = b, a
		}
	}
}

// sample draws a list: of the activities that may come next, those with the
// longest tail are likelier, by how much they would be missed (regret).
func (s *search) sample() {
	w := s.nets[0]
	open := make([]int, w.n)
	var eligible []int32
	for a := range w.n {
		if open[a] = len(w.preds[a]); open[a] == 0 {
			eligible = append(eligible, int32(a)) //nolint:gosec // an index
		}
	}
	chances := make([]float64, 0, w.n)
	for i := range s.list {
		k := s.draw(w, eligible, chances)
		a := eligible[k]
		s.list[i] = a
		eligible = slices.Delete(eligible, k, k+1)
		for _, next := range w.succs[a] {
			if open[next]--; open[next] == 0 {
				eligible = append(eligible, next)
			}
		}
	}
}

func (s *search) draw(w *network, eligible []int32, chances []float64) int {
	// The latest start is the critical path less the tail; the latest finish adds
	// the duration.
	latest := func(a int32) int32 { return w.durations[a] - w.tail[a] }
	worst := latest(eligible[0])
	for _, a := range eligible {
		worst = max(worst, latest(a))
	}
	var sum float64
	for _, a := range eligible {
		chance := float64(worst-latest(a)) + 1
		sum += chance
		chances = append(chances, chance)
	}
	at := s.random.Float64() * sum
	for k, chance := range chances {
		if at -= chance; at < 0 {
			return k
		}
	}
	return len(eligible) - 1
}
