package bayesnet

import (
	"math"
	"slices"
)

// eliminationOrder tries two greedy rules, fewest new edges and smallest table, and takes the
// order whose tables are smaller in sum.
func eliminationOrder(c cards, factors []factor) (order []int, largest float64) {
	best := math.Inf(1)
	for _, rule := range []func(*graph, int) float64{(*graph).fill, (*graph).weight} {
		o, total, most := newGraph(c, factors).eliminate(rule)
		if total < best {
			best, order, largest = total, o, most
		}
	}
	return order, largest
}

// graph joins variables that share a factor.
type graph struct {
	cards cards
	near  map[int]map[int]bool
}

func newGraph(c cards, factors []factor) *graph {
	g := &graph{cards: c, near: map[int]map[int]bool{}}
	for _, f := range factors {
		for _, v := range f.vars {
			if g.near[v] == nil {
				g.near[v] = map[int]bool{}
			}
			for _, w := range f.vars {
				if v != w {
					g.near[v][w] = true
				}
			}
		}
	}
	return g
}

func (g *graph) eliminate(rule func(*graph, int) float64) (order []int, total, most float64) {
	price := map[int]float64{}
	for v := range g.near {
		price[v] = rule(g, v)
	}
	for len(g.near) > 0 {
		next, least := -1, math.Inf(1)
		for v, p := range price {
			if p < least || p == least && v < next {
				next, least = v, p
			}
		}
		order = append(order, next)
		weight := g.weight(next)
		total += weight
		most = max(most, weight)
		for v := range g.remove(next) {
			price[v] = rule(g, v)
		}
		delete(price, next)
	}
	return order, total, most
}

// remove joins the variable's neighbours and lists everything whose price may have changed.
func (g *graph) remove(v int) map[int]bool {
	changed := map[int]bool{}
	for a := range g.near[v] {
		delete(g.near[a], v)
		changed[a] = true
		for b := range g.near[v] {
			if a != b && !g.near[a][b] {
				g.near[a][b], g.near[b][a] = true, true
			}
		}
	}
	for a := range g.near[v] {
		for b := range g.near[a] {
			changed[b] = true
		}
	}
	delete(g.near, v)
	delete(changed, v)
	return changed
}

// fill is how many edges removing the variable adds.
func (g *graph) fill(v int) float64 {
	list := make([]int, 0, len(g.near[v]))
	for a := range g.near[v] {
		list = append(list, a)
	}
	missing := 0.0
	for i, a := range list {
		for _, b := range list[:i] {
			if !g.near[a][b] {
				missing++
			}
		}
	}
	return missing
}

// weight is the size of the table that removing the variable makes.
func (g *graph) weight(v int) float64 {
	size := float64(g.cards[v])
	for a := range g.near[v] {
		size *= float64(g.cards[a])
	}
	return size
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
