package bayesnet

import (
	"math"
	"math/rand/v2"
	"slices"
)

// Between so many entries it is worth looking for better orders, and how often: below, the sums are done
// before; above, no order found this way comes near what can be held.
const (
	hardWork     = 1 << 22
	hopelessWork = maxWork << 10
	moreLooks    = 24
)

// eliminationOrder tries greedy rules (fewest new edges, those edges weighted by their tables, smallest table)
// and, where the tables stay large, the first two again with ties and near ties broken by chance from a
// fixed seed. It takes the order whose tables are smallest in sum.
func eliminationOrder(c cards, factors []factor) (order []int, e Effort) {
	e.Work = math.Inf(1)
	rules := []func(*graph, int) float64{(*graph).fill, (*graph).weightedFill, (*graph).weight}
	try := func(rule func(*graph, int) float64, chance *rand.Rand) {
		if o, found := newGraph(c, factors).order(rule, chance); found.Work < e.Work {
			order, e = o, found
		}
	}
	for _, rule := range rules {
		try(rule, nil)
	}
	if e.Work > hardWork && e.Work < hopelessWork {
		chance := rand.New(rand.NewPCG(1, uint64(len(factors))))
		for i := range moreLooks {
			try(rules[i%2], chance)
		}
	}
	e.Bound = newGraph(c, factors).widthAtLeast()
	return order, e
}

// order takes the cheapest variable each time and uses the graph up. By chance, a price is up to a tenth higher.
func (g *graph) order(rule func(*graph, int) float64, chance *rand.Rand) (order []int, e Effort) {
	price := make([]float64, len(g.near))
	judge := func(v int) {
		price[v] = rule(g, v)
		if chance != nil {
			price[v] = (price[v] + 1) * (1 + chance.Float64()/10)
		}
	}
	for v := range g.alive.members() {
		judge(v)
	}
	for g.left > 0 {
		next := -1
		for v := range g.alive.members() {
			if next < 0 || price[v] < price[next] {
				next = v
			}
		}
		order = append(order, next)
		weight := g.weight(next)
		e.Work += weight
		e.Largest = max(e.Largest, weight)
		e.Width = max(e.Width, g.near[next].count())
		e.Bytes += 8 * weight / float64(g.cards[next]) // the message that is kept
		for v := range g.eliminate(next).members() {
			judge(v)
		}
	}
	return order, e
}

// union lists the variables of all factors in rising order.
func union(factors []factor) []int {
	var out []int
	for _, f := range factors {
		out = append(out, f.vars...)
	}
	slices.Sort(out)
	return slices.Compact(out)
}
