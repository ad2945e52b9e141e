package rcpsp

import (
	"cmp"
	"math"
	"slices"
)

// Shares of the makespan between which the length of an inherited stretch is
// drawn, how many stretches are drawn to choose from, and how often two
// neighbours of a list are swapped. Found by trying on the J120 set at 1,000 and
// 5,000 schedules; the result is flat around them.
const (
	shortestStretch = 0.1
	longestStretch  = 0.6
	stretchDraws    = 15
	swapChance      = 0.02
	// parallelShare of the first schedules come from the parallel scheme, and
	// parallelChildren of the later ones.
	parallelShare    = 0.3
	parallelChildren = 0.2
	// bendsByTwins is how many times as often as twins come out a child is bent from
	// its father alone, and twinMemory the weight of the last child in how often that is.
	bendsByTwins = 2
	twinMemory   = 0.02
	// ordinary is the number of activities at which the breadth is just the square root.
	ordinary = 122
	// endless is the count for which a search without one is laid out.
	endless = 50_000
)

// populate fills both populations: the schedule to begin with and fresh ones,
// left-justified, and what becomes of them right-justified.
func (s *search) populate(size int) {
	for len(s.pop[0]) < size && !s.done() {
		if len(s.pop[0]) == 0 && s.begin != nil {
			s.warm()
			continue
		}
		s.pop[0] = append(s.pop[0], s.first())
	}
	for _, one := range s.pop[0] {
		if s.done() {
			return
		}
		s.justify(0, one)
		s.pop[1] = append(s.pop[1], s.decode(1))
	}
}

// generation lets the two directions breed each other once.
func (s *search) generation() {
	s.breed(1, s.pop[1], s.pop[0])
	s.breed(0, s.pop[0], s.pop[1])
}

// warm decodes the schedule that the search was given: in the order of its starts
// nothing comes later than it did.
func (s *search) warm() {
	for a, start := range s.begin {
		s.keys[a] = -int64(start)
	}
	s.sortBy(s.nets[1].rank)
	s.pop[0] = append(s.pop[0], s.decode(0))
}

// first makes a schedule out of nothing.
func (s *search) first() schedule {
	if s.random.Float64() < parallelShare {
		finish := make([]int32, s.nets[0].n)
		return s.note(0, schedule{finish: finish, makespan: s.parallel(0, finish, s.drawn)})
	}
	s.sample()
	return s.decode(0)
}

// populationFor is how many schedules each direction keeps: the square root of
// the count, so that both breadth and generations grow with it. Small projects are
// soon without new schedules and need more breadth, large ones more generations.
func populationFor(schedules, activities int) int {
	if schedules == 0 {
		schedules = endless
	}
	breadth := math.Pow(ordinary/float64(max(1, activities)), 0.3)
	return max(4, int(min(2, max(0.5, breadth))*math.Sqrt(float64(schedules))))
}

// breed makes a child in the other direction from every parent, crossed with the
// better of two drawn at random. The more twins are born, the more alike are the
// parents and the less comes of crossing: then children are bent instead.
func (s *search) breed(dir int, parents, others []schedule) {
	for i, father := range parents {
		if s.done() {
			return
		}
		mother := s.tournament(parents)
		switch {
		case s.random.Float64() < bendsByTwins*s.alike:
			s.bend(dir, father)
		case mother == i:
			s.justify(dir, father)
		default:
			s.cross(dir, father, parents[mother])
		}
		s.mutate(1 - dir)
		s.alike *= 1 - twinMemory
		if replaceWorst(others, s.child(1-dir)) {
			s.alike += twinMemory
		}
	}
}

// child decodes the list, now and then by the parallel scheme.
func (s *search) child(dir int) schedule {
	if s.random.Float64() >= parallelChildren {
		return s.decode(dir)
	}
	for i, a := range s.list {
		s.place[a] = int32(i)
	}
	finish := make([]int32, len(s.list))
	return s.note(dir, schedule{finish: finish, makespan: s.parallel(dir, finish, s.foremost)})
}

// replaceWorst puts a schedule in the place of the longest one, unless it is
// longer still or there already: twins would soon fill the population. It tells
// whether it was a twin.
func replaceWorst(all []schedule, by schedule) bool {
	worst := 0
	for k, one := range all {
		if one.cost == by.cost && slices.Equal(one.finish, by.finish) {
			return true
		}
		if one.cost > all[worst].cost {
			worst = k
		}
	}
	if by.cost <= all[worst].cost {
		all[worst] = by
	}
	return false
}

func (s *search) tournament(all []schedule) int {
	a, b := s.random.IntN(len(all)), s.random.IntN(len(all))
	if all[b].cost < all[a].cost {
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
// the father in which he uses the resources better stays as he has it; before and
// after it, the mother's order rules. What runs before, in and after the
// stretch is closed under precedence, so the list is feasible.
func (s *search) cross(dir int, father, mother schedule) {
	from, to := s.stretch(dir, father, mother)
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
	s.sortBy(s.nets[dir].rank)
}

func (s *search) sortBy(rank []int32) {
	for a := range s.list {
		s.list[a] = int32(a)
	}
	slices.SortFunc(s.list, func(a, b int32) int {
		if c := cmp.Compare(s.keys[b], s.keys[a]); c != 0 {
			return c
		}
		return cmp.Compare(rank[b], rank[a])
	})
}

// stretch picks a part of the father's time: of some drawn at random the one in which
// he holds most more than the mother does. Without her part the beginning would nearly
// always win: both are pushed towards it.
func (s *search) stretch(dir int, father, mother schedule) (from, to int32) {
	span := float64(father.makespan)
	length := int32(span * (shortestStretch + s.random.Float64()*(longestStretch-shortestStretch)))
	s.work[0] = s.nets[dir].usage(father, s.work[0])
	s.work[1] = s.nets[dir].usage(mother, s.work[1])
	ahead := func(at int32) int64 { return s.work[0][at] - s.work[1][min(at, mother.makespan)] }
	best := int64(math.MinInt64)
	for range stretchDraws {
		at := s.random.Int32N(father.makespan - length + 1)
		if gain := ahead(at+length) - ahead(at); gain > best {
			best, from, to = gain, at, at+length
		}
	}
	return from, to
}

// usage gives the running sum of the work done up to each period, in the room of sum.
func (w *network) usage(of schedule, sum []int64) []int64 {
	sum = slices.Grow(sum[:0], int(of.makespan)+2)[:of.makespan+2]
	clear(sum)
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
		if s.random.Float64() >= swapChance {
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
	eligible := s.ready(w)
	for i := range s.list {
		a := eligible[s.draw(w, eligible, s.chances[:0])]
		s.list[i] = a
		eligible = s.opened(w, a, without(eligible, a))
	}
	s.eligible = eligible
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
	s.chances = chances
	at := s.random.Float64() * sum
	for k, chance := range chances {
		if at -= chance; at < 0 {
			return k
		}
	}
	return len(eligible) - 1
}
