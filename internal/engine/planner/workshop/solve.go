package workshop

import (
	"cmp"
	"math/rand/v2"
	"slices"
	"sync"
	"time"

	"ramprow/internal/engine/planner"
)

// Options say how long and with what to search.
type Options struct {
	// Seed decides the random choices: the same seed, islands and rounds give the same plan.
	Seed uint64
	// Islands search at the same time, each on a core if there are as many; zero: one.
	Islands int
	// Quick leaves out the bound, which can take longer than a first plan.
	Quick bool
	// Rounds bounds the search: each island makes StepsPerRound tries in each; zero: the first plan only.
	Rounds int
	// Stop is asked between two rounds; nil: never.
	Stop func() bool
	// Progress tells how much of the time is over, 0 to 1, for who stops by the clock; nil: by Rounds.
	Progress func() float64
}

// StepsPerRound is how many jobs an island takes out and puts back between two looks
// at the other islands.
const StepsPerRound = 8

// Solve plans everything. The error says that the problem contradicts itself. Bound
// is the quick one; Exact proves more, for small problems.
func Solve(p Problem, o Options) (Plan, error) {
	s, err := newShop(p)
	if err != nil {
		return Plan{}, err
	}
	b := s.search(o)
	plan := s.plan(b)
	if !o.Quick {
		plan.Bound = s.bound()
		plan.Optimal = plan.Bound >= plan.Cost.Total()
	}
	return plan, nil
}

// search runs the islands and gives the best board.
func (s *shop) search(o Options) *board {
	first := s.first()
	if o.Rounds <= 0 {
		return first
	}
	islands := make([]*island, max(1, o.Islands))
	for i := range islands {
		islands[i] = newIsland(s.own(), first, rand.New(rand.NewPCG(o.Seed, uint64(i))))
	}
	for round := range o.Rounds {
		if o.Stop != nil && o.Stop() {
			break
		}
		heat := 1 - float64(round)/float64(o.Rounds)
		if o.Progress != nil {
			heat = max(0, 1-o.Progress())
		}
		var wait sync.WaitGroup
		for _, i := range islands {
			wait.Go(func() { i.run(heat) })
		}
		wait.Wait()
		visit(islands)
	}
	best := islands[0]
	for _, i := range islands[1:] {
		if i.bestCost < best.bestCost {
			best = i
		}
	}
	return s.boardOf(best.best)
}

// visit has the island with the worst plan go on from the best one.
func visit(islands []*island) {
	best, worst := islands[0], islands[0]
	for _, i := range islands {
		if i.bestCost < best.bestCost {
			best = i
		}
		if i.bestCost > worst.bestCost {
			worst = i
		}
	}
	if best.bestCost < worst.bestCost {
		worst.adopt(best.best, best.bestCost)
	}
}

// most bounds how many operations are placed by plans that are made straight away, so
// that a large workshop does not wait for them.
const mostFirst = 6000

// first is the best of a few plans that are made straight away, side by side.
func (s *shop) first() *board {
	operations := 0
	for j := range s.jobs {
		operations += len(s.jobs[j].ways[0].ops)
	}
	orders := s.orders()
	made := make([]*board, min(len(orders), max(2, mostFirst/max(1, operations))))
	var wait sync.WaitGroup
	for i := range made {
		own := s.own()
		wait.Go(func() { made[i] = own.construct(orders[i]) })
	}
	wait.Wait()
	best := made[0]
	for _, b := range made[1:] {
		if b.total() < best.total() {
			best = b
		}
	}
	return best
}

// own is a shop for one search: windows are shared while reading only.
func (s *shop) own() *shop {
	own := *s
	own.shared = map[classes]*windows{}
	return &own
}

// construct places the jobs in an order.
func (s *shop) construct(order []int) *board {
	b := newBoard(s)
	b.begin()
	for _, job := range order {
		if b.at[job] == nil {
			b.add(job, forever)
		}
	}
	return b
}

// begin puts what is frozen or pinned, then what still fits where it lay.
func (b *board) begin() {
	for pass := range 3 {
		for job := range b.s.jobs {
			j := &b.s.jobs[job]
			if b.at[job] != nil || pass == 0 && !j.opened || pass == 1 && !j.fixed {
				continue
			}
			if p := b.again(job); p != nil {
				b.put(job, p)
			} else if pass < 2 {
				b.add(job, forever)
			}
		}
	}
}

// add puts a job where it costs least; last is when the others end: a later end costs
// the makespan, too.
func (b *board) add(job, last int) {
	if p := b.place(job, last); p != nil {
		b.put(job, p)
	}
}

// orders are the jobs by slack, by due date with weight, by release, and by slack with
// some chance in it: what is best differs from workshop to workshop.
func (s *shop) orders() [][]int {
	key := func(by func(a, b int) int) []int {
		all := make([]int, len(s.jobs))
		for i := range all {
			all[i] = i
		}
		slices.SortStableFunc(all, by)
		return all
	}
	slack := func(a, b int) int {
		x, y := &s.jobs[a], &s.jobs[b]
		return cmp.Or(cmp.Compare(x.due-x.ways[0].least, y.due-y.ways[0].least), cmp.Compare(x.release, y.release))
	}
	orders := [][]int{
		key(slack),
		key(func(a, b int) int {
			x, y := &s.jobs[a], &s.jobs[b]
			return cmp.Or(cmp.Compare(y.weight, x.weight), cmp.Compare(x.due, y.due), cmp.Compare(x.release, y.release))
		}),
		key(func(a, b int) int { return cmp.Compare(s.jobs[a].release, s.jobs[b].release) }),
	}
	random := rand.New(rand.NewPCG(firstSeed, uint64(len(s.jobs))))
	for range 5 {
		shift := make([]int, len(s.jobs))
		for i := range shift {
			shift[i] = random.IntN(s.day())
		}
		orders = append(orders, key(func(a, b int) int {
			x, y := &s.jobs[a], &s.jobs[b]
			return cmp.Compare(x.due-x.ways[0].least+shift[a], y.due-y.ways[0].least+shift[b])
		}))
	}
	return orders
}

// firstSeed makes the same first plans of the same problem, whatever the search is seeded with.
const firstSeed = 1

// day is how many ticks a day has.
func (s *shop) day() int { return max(1, int(24*time.Hour/s.grid)) }

// plan reads a board out.
func (s *shop) plan(b *board) Plan {
	var out Plan
	last := 0
	for job, p := range b.at {
		name := s.p.Jobs[job].Name
		if p == nil {
			out.Unplaced = append(out.Unplaced, name)
			out.Cost.Unplaced++
			continue
		}
		cost := s.costsOf(job, p)
		out.Cost.Late += cost.Late
		out.Cost.Dead += cost.Dead
		out.Cost.Overtime += cost.Overtime
		out.Cost.Change += cost.Change
		placement := Placement{Job: name, Bay: s.p.Bays[p.bay].Name, Way: p.way, When: s.interval(span{p.open, p.close})}
		for _, at := range p.ops {
			placement.Operations = append(placement.Operations, s.assignment(at))
		}
		out.Placements = append(out.Placements, placement)
		last = max(last, p.close)
	}
	out.Cost.Makespan = weightMakespan * int64(last)
	return out
}

func (s *shop) interval(when span) planner.Interval {
	return planner.Interval{Start: s.time(when.start), End: s.time(when.end)}
}

func (s *shop) assignment(at spot) Assignment {
	a := Assignment{When: s.interval(at.span)}
	if at.person != none {
		a.Person = s.p.People[at.person].Name
	}
	for _, t := range at.tools {
		a.Tools = append(a.Tools, s.p.Tools[t].Name)
	}
	return a
}
