package workshop

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"
)

// pulls are how much jobs are drawn to early ends as they go back: one of them each time.
var pulls = []int64{0, 0, 4, 16, 64}

// mostTaken bounds how many jobs are taken out at once.
const mostTaken = 6

// island is one search with a board of its own.
type island struct {
	b        *board
	cost     int64
	random   *rand.Rand
	best     []*placed
	bestCost int64
}

func newIsland(s *shop, first *board, random *rand.Rand) *island {
	i := &island{b: newBoard(s), random: random}
	i.adopt(first.at, first.total())
	return i
}

// adopt goes on from another plan.
func (i *island) adopt(at []*placed, cost int64) {
	i.b = i.b.s.boardOf(at)
	i.cost, i.best, i.bestCost = cost, slices.Clone(at), cost
}

// run makes the steps of a round. The hotter, the worse a plan may become on the way.
func (i *island) run(heat float64) {
	if len(i.b.s.jobs) == 0 {
		return
	}
	for range StepsPerRound {
		i.step(heat)
	}
}

// step takes some jobs out and puts them back.
func (i *island) step(heat float64) {
	jobs := i.pick()
	old := make([]*placed, len(jobs))
	for n, job := range jobs {
		old[n] = i.b.take(job)
	}
	i.b.pull = pulls[i.random.IntN(len(pulls))]
	for _, job := range i.order(jobs) {
		i.b.add(job, i.b.last())
	}
	cost := i.b.total()
	allowed := -math.Log(1-i.random.Float64()) * heat * 0.002 * float64(min(i.cost, unplaced))
	if float64(cost) <= float64(i.cost)+allowed {
		if i.cost = cost; cost < i.bestCost {
			i.best, i.bestCost = slices.Clone(i.b.at), cost
		}
		return
	}
	for _, job := range jobs {
		i.b.take(job)
	}
	for n, job := range jobs {
		if old[n] != nil {
			i.b.put(job, old[n])
		}
	}
}

// pick takes a job that costs much, and others that lie near it in time, in its bay
// or with its people.
func (i *island) pick() []int {
	at := i.b.at
	n := len(at)
	worst := costOf
	if i.random.IntN(3) == 0 { // those that make the makespan
		worst = endOf
	}
	seed := i.random.IntN(n)
	for range 3 + n/20 { // the worst of a few
		if other := i.random.IntN(n); worst(at[other]) > worst(at[seed]) {
			seed = other
		}
	}
	jobs := []int{seed}
	want := min(n, 2+i.random.IntN(mostTaken-1))
	for tries := 0; len(jobs) < want && tries < 8*mostTaken; tries++ {
		other := i.random.IntN(n)
		if !slices.Contains(jobs, other) && (tries > 5*mostTaken || near(at[seed], at[other])) {
			jobs = append(jobs, other)
		}
	}
	return jobs
}

func costOf(p *placed) int64 {
	if p == nil {
		return unplaced
	}
	return p.cost
}

func endOf(p *placed) int64 {
	if p == nil {
		return unplaced
	}
	return int64(p.close)
}

// near tells whether two jobs overlap in time or share the bay.
func near(a, b *placed) bool {
	return a == nil || b == nil || a.bay == b.bay || span{a.open, a.close}.overlaps(span{b.open, b.close})
}

// order is in which order jobs go back: what is frozen or pinned first, the others by
// urgency or by chance.
func (i *island) order(jobs []int) []int {
	s := i.b.s
	order := slices.Clone(jobs)
	i.random.Shuffle(len(order), func(a, b int) { order[a], order[b] = order[b], order[a] })
	byDue := i.random.IntN(3) == 0
	slices.SortStableFunc(order, func(a, b int) int {
		if c := cmp.Compare(rank(&s.jobs[a]), rank(&s.jobs[b])); c != 0 || !byDue {
			return c
		}
		return cmp.Compare(s.jobs[a].due, s.jobs[b].due)
	})
	return order
}

func rank(j *job) int {
	switch {
	case j.opened:
		return 0
	case j.fixed:
		return 1
	default:
		return 2
	}
}
