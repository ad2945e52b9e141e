package andor

// landmark is a set of actions of which every solution contains at least one.
type landmark []int

// bound computes the LM-cut lower bound (Helmert & Domshlak 2009; from memory): cut by cut, a set of
// actions through one of which every solution must pass pays the least cost among them. Reduced
// costs at the end are what the cuts have left; the goal is then reachable at no reduced cost.
func bound(p Problem) (lower float64, cuts []landmark, reducedCost []float64) {
	c := cutter{
		Problem: p, needs: consumers(p), adders: achievers(p),
		cost: make([]float64, len(p.Actions)), value: make([]float64, p.Facts),
		waiting: make([]int, len(p.Actions)), supporter: make([]int, len(p.Actions)),
	}
	for i, a := range p.Actions {
		c.cost[i] = a.Cost
	}
	for {
		c.propagate()
		goal := c.costliest(p.Goal)
		if goal < 0 || c.value[goal] == 0 {
			return lower, cuts, c.cost
		}
		cut := c.cut(goal)
		least := c.cost[cut[0]]
		for _, a := range cut {
			least = min(least, c.cost[a])
		}
		for _, a := range cut {
			if c.cost[a] -= least; c.cost[a] < 1e-12 {
				c.cost[a] = 0
			}
		}
		lower += least
		cuts = append(cuts, cut)
	}
}

type cutter struct {
	Problem
	needs, adders index
	cost          []float64
	// value is the max-cost of each fact; supporter is the costliest precondition of each action,
	// -1 for none.
	value     []float64
	waiting   []int
	supporter []int
	queue     factQueue
}

const infinite = 1e300

// propagate computes max-costs as Dijkstra does: a fact costs its cheapest achiever, an action its
// costliest precondition.
func (c *cutter) propagate() {
	for f := range c.value {
		c.value[f] = infinite
	}
	c.queue = c.queue[:0]
	for i, a := range c.Actions {
		c.waiting[i] = len(a.Pre)
		c.supporter[i] = -1
		if len(a.Pre) == 0 {
			c.offer(i, 0)
		}
	}
	for len(c.queue) > 0 {
		e := c.queue.pop()
		if e.cost > c.value[e.fact] {
			continue
		}
		for _, a := range c.needs.of(e.fact) {
			if c.waiting[a]--; c.waiting[a] == 0 {
				c.supporter[a] = e.fact // the last one to become true is the costliest
				c.offer(int(a), e.cost)
			}
		}
	}
}

// offer lets an applicable action lower the values of what it adds.
func (c *cutter) offer(action int, base float64) {
	for _, f := range c.Actions[action].Add {
		if v := base + c.cost[action]; v < c.value[f] {
			c.value[f] = v
			c.queue.push(factCost{f, v})
		}
	}
}

func (c *cutter) costliest(facts []int) int {
	best := -1
	for _, f := range facts {
		if best < 0 || c.value[f] > c.value[best] {
			best = f
		}
	}
	return best
}

// cut finds the actions that lead from what is reachable before the goal zone into the zone, which is
// every fact from which the goal follows at no cost along supporters.
func (c *cutter) cut(goal int) landmark {
	zone := make([]bool, c.Facts)
	zone[goal] = true
	open := []int{goal}
	for len(open) > 0 {
		f := open[len(open)-1]
		open = open[:len(open)-1]
		for _, a := range c.adders.of(f) {
			s := c.supporter[a]
			if c.cost[a] == 0 && c.waiting[a] == 0 && s >= 0 && !zone[s] {
				zone[s] = true
				open = append(open, s)
			}
		}
	}
	return c.crossing(zone)
}

// crossing walks from the start along supporters and collects the actions that enter the zone.
func (c *cutter) crossing(zone []bool) landmark {
	var cut landmark
	before := make([]bool, c.Facts)
	var open []int
	apply := func(a int) {
		for _, f := range c.Actions[a].Add {
			if zone[f] {
				cut = append(cut, a)
				return
			}
		}
		for _, f := range c.Actions[a].Add {
			if !before[f] {
				before[f] = true
				open = append(open, f)
			}
		}
	}
	for i := range c.Actions {
		if c.supporter[i] < 0 && len(c.Actions[i].Pre) == 0 {
			apply(i)
		}
	}
	for len(open) > 0 {
		f := open[len(open)-1]
		open = open[:len(open)-1]
		for _, a := range c.needs.of(f) {
			if c.supporter[a] == f && c.waiting[a] == 0 {
				apply(int(a))
			}
		}
	}
	return cut
}
