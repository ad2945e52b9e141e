package planner

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"
)

const (
	// mostTaken bounds how many jobs are taken out at once.
	mostTaken = 8
	// warmth is the share of a plan's cost by which it may become dearer on the way, at most
	// about, while the search is young.
	warmth = 0.002
	// blinks in a thousand are how often a bay, person or kit is overlooked when a job is put back
	// (Christiaens and Vanden Berghe 2020): else the same jobs in the same order would
	// always lie alike.
	blinks = 20
)

// island is one search with a board of its own.
type island struct {
	shop    *shop
	b       *board
	random  *rand.Rand
	movable []int
	// ideal is what each job costs if only what cannot be pushed were there.
	ideal []float64
	// costs are of the jobs where they lie, cost is their sum.
	costs          []float64
	cost, bestCost float64
	best           []*slot
	// taken and near are used again in every step.
	taken, near []int
	old         []*slot
}

// adopt goes on from another plan.
func (i *island) adopt(slots []*slot) {
	i.b = i.shop.boardWith(slots)
	i.b.blinking, i.b.wide = i.random, true
	i.costs = make([]float64, len(slots))
	i.cost = 0
	for job := range slots {
		i.costs[job] = i.costAt(job)
		i.cost += i.costs[job]
	}
	i.best, i.bestCost = slices.Clone(slots), i.cost
}

func (i *island) costAt(job int) float64 {
	switch sl := i.b.slots[job]; {
	case i.shop.jobs[job].Started != nil:
		return 0
	case sl == nil:
		return unplaced
	default:
		return i.shop.costOf(job, sl).Total()
	}
}

// run makes the steps of a round. The hotter, the worse a plan may become on the way.
func (i *island) run(heat float64) {
	for range StepsPerRound {
		i.step(heat)
	}
}

// step takes some jobs out and puts them back in another order.
func (i *island) step(heat float64) {
	i.pick()
	i.order()
	i.old = i.old[:0]
	var before, ideal float64
	for _, job := range i.taken {
		i.old = append(i.old, i.b.take(job))
		before += i.costs[job]
		ideal += i.ideal[job]
	}
	allowed := before - math.Log(1-i.random.Float64())*heat*warmth*min(i.cost, unplaced)
	after, ok := i.putBack(allowed, ideal)
	if !ok {
		i.undo()
		return
	}
	for _, job := range i.taken {
		i.costs[job] = i.costAt(job)
	}
	i.cost += after - before
	if i.cost < i.bestCost-1e-6 { // what rounding alone has made of a sum is no gain
		i.best, i.bestCost = slices.Clone(i.b.slots), i.cost
	}
}

// putBack puts the taken jobs back, each where it costs least, and tells what they cost
// together; false: more than is allowed. Ideal is what they cost at least.
func (i *island) putBack(allowed, ideal float64) (after float64, ok bool) {
	for _, job := range i.taken {
		ideal -= i.ideal[job]
		sl := i.b.again(job, allowed-after-ideal)
		if sl != nil {
			i.b.put(job, sl)
		}
		if after += i.costAt(job); after+ideal > allowed {
			return 0, false
		}
	}
	return after, true
}

func (i *island) undo() {
	for _, job := range i.taken {
		i.b.take(job)
	}
	for n, job := range i.taken {
		if i.old[n] != nil {
			i.b.put(job, i.old[n])
		}
	}
}

// again gives the cheapest place for a job that costs no more than a limit; where it lay
// before the search counts too. Nil: there is none.
func (b *board) again(job int, limit float64) *slot {
	s := b.shop
	limit = math.Nextafter(limit, math.Inf(1))
	var at *slot
	if c, when, ok := b.stays(job); ok && !b.shies() {
		if cost := s.cost(job, c.bay, c.person, when).Total(); cost < limit {
			at, limit = &slot{choice: c, span: when}, cost
		}
	}
	if f := b.search(job, nil, limit); f.choice != none {
		c := s.choices[job][f.choice]
		pieces, _ := b.pick(job, c.kits, f.when)
		at = &slot{choice: c.decided(pieces), span: f.when}
	}
	return at
}

// pick takes a job that loses much, or any, and others that it may be in the way of:
// that share its bay, its person or its tools, or lie at the same time.
func (i *island) pick() {
	seed := i.any()
	if i.random.IntN(3) > 0 {
		for range 3 { // the worst of a few
			if other := i.any(); i.loss(other) > i.loss(seed) {
				seed = other
			}
		}
	}
	i.taken = append(i.taken[:0], seed)
	want := min(len(i.movable), 2+i.random.IntN(1+i.random.IntN(mostTaken-1)))
	i.neighbours(seed)
	i.random.Shuffle(len(i.near), func(a, b int) { i.near[a], i.near[b] = i.near[b], i.near[a] })
	for _, job := range i.near {
		if len(i.taken) < want && !slices.Contains(i.taken, job) {
			i.taken = append(i.taken, job)
		}
	}
	for len(i.taken) < want {
		if job := i.any(); !slices.Contains(i.taken, job) {
			i.taken = append(i.taken, job)
		}
	}
}

func (i *island) any() int { return i.movable[i.random.IntN(len(i.movable))] }

func (i *island) loss(job int) float64 { return i.costs[job] - i.ideal[job] }

// neighbours lists what is related to a job, in one of several ways.
func (i *island) neighbours(seed int) {
	i.near = i.near[:0]
	sl := i.b.slots[seed]
	if sl == nil {
		return
	}
	switch way := i.random.IntN(5); way {
	case 0:
		i.beside(i.b.bays[sl.choice.bay], seed)
	case 1:
		i.beside(i.b.people[sl.choice.person], seed)
	case 2:
		i.beside(i.b.bays[sl.choice.bay], seed)
		i.beside(i.b.people[sl.choice.person], seed)
		for _, t := range sl.choice.tools {
			i.beside(i.b.tools[t], seed)
		}
	case 3:
		around := span{sl.span.start - (sl.span.end-sl.span.start)/2, sl.span.end + (sl.span.end-sl.span.start)/2}
		for _, job := range i.movable {
			if other := i.b.slots[job]; job != seed && (other == nil || other.span.overlaps(around)) {
				i.near = append(i.near, job)
			}
		}
	}
}

// beside lists what lies near a job on one resource.
func (i *island) beside(held []hold, seed int) {
	at := slices.IndexFunc(held, func(h hold) bool { return h.job == seed })
	for n := max(0, at-mostTaken/2); n < min(len(held), at+mostTaken/2+1); n++ {
		if job := held[n].job; job != seed && !i.b.slots[job].fixed {
			i.near = append(i.near, job)
		}
	}
}

// order says in which order the taken jobs go back: by chance, by urgency, or the longest first.
func (i *island) order() {
	s := i.shop
	i.random.Shuffle(len(i.taken), func(a, b int) { i.taken[a], i.taken[b] = i.taken[b], i.taken[a] })
	switch i.random.IntN(6) {
	case 0:
		slices.SortStableFunc(i.taken, func(a, b int) int {
			return cmp.Or(cmp.Compare(s.times[b].weight, s.times[a].weight), cmp.Compare(s.times[a].due, s.times[b].due))
		})
	case 1:
		slices.SortStableFunc(i.taken, func(a, b int) int { return cmp.Compare(s.jobs[b].Effort, s.jobs[a].Effort) })
	}
}
