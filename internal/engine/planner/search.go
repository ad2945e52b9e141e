package planner

import (
	"math/rand/v2"
	"sync"
)

// Search says how long and with what a plan is improved.
type Search struct {
	// Seed decides the random choices: the same seed, islands and rounds give the same plan.
	Seed uint64
	// Islands search at the same time, each on a core if there are as many; zero: one.
	Islands int
	// Rounds bounds the search: each island makes StepsPerRound tries in each.
	Rounds int
	// Stop is asked between two rounds; nil: never.
	Stop func() bool
	// Progress tells how much of the time is over, 0 to 1, for who stops by the clock; nil: by Rounds.
	Progress func() float64
}

// StepsPerRound is how many times an island takes jobs out and puts them back between
// two looks at the others.
const StepsPerRound = 8

// Improve looks for a plan of the same problem that costs less than the one it is given,
// for as long as it may. What does not fit is placed anew first; a plan that fits is
// never made worse. Started work, pins and wishes stay, and what differs from
// Job.Current costs what it costs in Make: so only what pays moves.
//
// It is large neighbourhood search (Shaw 1998) with the acceptance of simulated
// annealing, on islands: between two rounds the worst goes on from the best.
func Improve(p Problem, plan Plan, o Search) (Plan, error) {
	s, err := newShop(p)
	if err != nil {
		return Plan{}, err
	}
	b, _ := s.boardOf(plan)
	b.insertRest()
	if islands := s.islands(b, o); islands != nil {
		for round := 0; round < o.Rounds && (o.Stop == nil || !o.Stop()); round++ {
			heat := 1 - float64(round)/float64(o.Rounds)
			if o.Progress != nil {
				heat = max(0, 1-o.Progress())
			}
			runAll(islands, heat)
			visit(islands)
		}
		best, _ := ends(islands)
		b = s.boardWith(best.best)
	}
	return b.read(), nil
}

// islands are as many searches as are wanted; nil if there is nothing that could move.
func (s *shop) islands(first *board, o Search) []*island {
	var movable []int
	for job, sl := range first.slots {
		j := &s.jobs[job]
		if j.Started == nil && j.Wish == nil && (sl == nil && len(s.choices[job]) > 0 || sl != nil && !sl.fixed) {
			movable = append(movable, job)
		}
	}
	if len(movable) == 0 {
		return nil
	}
	ideal := make([]float64, len(s.jobs))
	for job, sl := range first.ideals() {
		if sl != nil {
			ideal[job] = s.costOf(job, sl).Total()
		}
	}
	all := make([]*island, max(1, o.Islands))
	for i := range all {
		random := rand.New(rand.NewPCG(o.Seed, uint64(i)))
		all[i] = &island{shop: s, movable: movable, ideal: ideal, random: random}
		all[i].adopt(first.slots)
	}
	return all
}

func runAll(islands []*island, heat float64) {
	if len(islands) == 1 {
		islands[0].run(heat)
		return
	}
	var wait sync.WaitGroup
	for _, i := range islands {
		wait.Go(func() { i.run(heat) })
	}
	wait.Wait()
}

// visit has the island with the worst plan go on from the best one.
func visit(islands []*island) {
	if best, worst := ends(islands); best.bestCost < worst.bestCost {
		worst.adopt(best.best)
	}
}

// ends gives the islands with the best and the worst plan; of equals the first.
func ends(islands []*island) (best, worst *island) {
	best, worst = islands[0], islands[0]
	for _, i := range islands[1:] {
		if i.bestCost < best.bestCost {
			best = i
		}
		if i.bestCost > worst.bestCost {
			worst = i
		}
	}
	return best, worst
}

// boardWith has the slots of another board.
func (s *shop) boardWith(slots []*slot) *board {
	b := newBoard(s)
	for job, sl := range slots {
		if sl != nil {
			b.put(job, sl)
		}
	}
	return b
}
