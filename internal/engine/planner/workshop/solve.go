package workshop

import (
	"cmp"
	"math/rand/v2"
	"slices"
	"sync"

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
	if o.Rounds <= 0 {
		return s.first(1)
	}
	first := s.first(0)
	islands := make([]*island, max(1, o.Islands))
	for i := range islands {
		// Windows are shared while reading only: each island has its own.
		own := *s
		own.shared = map[classes]*windows{}
		islands[i] = newIsland(&own, first, rand.New(rand.NewPCG(o.Seed, uint64(i))))
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

// first is the best of a few plans that are made straight away; most bounds how many, zero: all.
func (s *shop) first(most int) *board {
	var best *board
	for i, order := range s.orders() {
		if most > 0 && i >= most {
			break
		}
		b := newBoard(s)
		b.begin()
		for _, job := range order {
			if b.at[job] == nil {
				b.add(job)
			}
		}
		if best == nil || b.total() < best.total() {
			best = b
		}
	}
	return best
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
				b.add(job)
			}
		}
	}
}

func (b *board) add(job int) {
	if p := b.place(job); p != nil {
		b.put(job, p)
	}
}

// orders are the jobs by due date with weight, by slack, and by size.
func (s *shop) orders() [][]int {
	key := func(by func(a, b *job) int) []int {
		all := make([]int, len(s.jobs))
		for i := range all {
			all[i] = i
		}
		slices.SortStableFunc(all, func(a, b int) int { return by(&s.jobs[a], &s.jobs[b]) })
		return all
	}
	return [][]int{
		key(func(a, b *job) int {
			return cmp.Or(cmp.Compare(b.weight, a.weight), cmp.Compare(a.due, b.due), cmp.Compare(a.release, b.release))
		}),
		key(func(a, b *job) int {
			return cmp.Or(cmp.Compare(a.due-a.ways[0].least, b.due-b.ways[0].least), cmp.Compare(a.release, b.release))
		}),
		key(func(a, b *job) int { return cmp.Compare(a.release, b.release) }),
	}
}

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
