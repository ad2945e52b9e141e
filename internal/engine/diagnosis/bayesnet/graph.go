package bayesnet

import (
	"iter"
	"math/bits"
)

// graph joins variables that share a factor. Each variable's neighbours are a set of bits, so that what is
// common to two of them is counted 64 at a time.
type graph struct {
	cards cards
	near  []set
	alive set
	left  int
}

func newGraph(c cards, factors []factor) *graph {
	g := &graph{cards: c, near: make([]set, len(c)), alive: newSet(len(c))}
	for _, f := range factors {
		for _, v := range f.vars {
			if g.near[v] == nil {
				g.near[v] = newSet(len(c))
				g.alive.add(v)
				g.left++
			}
			for _, w := range f.vars {
				if v != w {
					g.near[v].add(w)
				}
			}
		}
	}
	return g
}

// take removes a variable from its neighbours' sets.
func (g *graph) take(v int) {
	for a := range g.near[v].members() {
		g.near[a].remove(v)
	}
	g.alive.remove(v)
	g.left--
}

// eliminate removes a variable, joins its neighbours and gives everything whose price may have changed.
func (g *graph) eliminate(v int) set {
	g.take(v)
	changed := newSet(len(g.near))
	for a := range g.near[v].members() {
		g.near[a].unite(g.near[v])
		g.near[a].remove(a)
	}
	for a := range g.near[v].members() {
		changed.unite(g.near[a])
	}
	changed.unite(g.near[v])
	return changed
}

// contract makes one variable of v and a neighbour.
func (g *graph) contract(v, into int) {
	g.take(v)
	for a := range g.near[v].members() {
		if a != into {
			g.near[a].add(into)
			g.near[into].add(a)
		}
	}
}

// widthAtLeast bounds the treewidth from below: the largest least degree over a sequence of contractions,
// each into the neighbour that shares fewest others (the rule known as minor-min-width). It uses the graph up.
func (g *graph) widthAtLeast() int {
	bound := 0
	for g.left > 0 {
		v, degree := -1, 0
		for a := range g.alive.members() {
			if n := g.near[a].count(); v < 0 || n < degree {
				v, degree = a, n
			}
		}
		bound = max(bound, degree)
		into, fewest := -1, 0
		for a := range g.near[v].members() {
			if n := g.near[a].common(g.near[v]); into < 0 || n < fewest {
				into, fewest = a, n
			}
		}
		if into < 0 {
			g.take(v)
			continue
		}
		g.contract(v, into)
	}
	return bound
}

// fill is how many edges removing the variable adds.
func (g *graph) fill(v int) float64 {
	degree, twice := g.near[v].count(), 0
	for a := range g.near[v].members() {
		twice += degree - 1 - g.near[a].common(g.near[v])
	}
	return float64(twice) / 2
}

// weightedFill weighs each new edge by the states that it joins.
func (g *graph) weightedFill(v int) float64 {
	twice := 0
	for a := range g.near[v].members() {
		for i, x := range g.near[v] {
			for x &^= g.near[a][i]; x != 0; x &= x - 1 {
				if b := 64*i + bits.TrailingZeros64(x); a != b {
					twice += g.cards[a] * g.cards[b]
				}
			}
		}
	}
	return float64(twice) / 2
}

// weight is the size of the table that removing the variable makes.
func (g *graph) weight(v int) float64 {
	size := float64(g.cards[v])
	for a := range g.near[v].members() {
		size *= float64(g.cards[a])
	}
	return size
}

// set is a set of small numbers.
type set []uint64

func newSet(n int) set { return make(set, (n+63)/64) }

func (s set) add(i int)    { s[i/64] |= 1 << (i % 64) }
func (s set) remove(i int) { s[i/64] &^= 1 << (i % 64) }

func (s set) unite(t set) {
	for i, x := range t {
		s[i] |= x
	}
}

func (s set) count() int {
	n := 0
	for _, x := range s {
		n += bits.OnesCount64(x)
	}
	return n
}

// common is how many members two sets share.
func (s set) common(t set) int {
	n := 0
	for i, x := range s {
		n += bits.OnesCount64(x & t[i])
	}
	return n
}

// members gives them in rising order. The set may not change meanwhile.
func (s set) members() iter.Seq[int] {
	return func(yield func(int) bool) {
		for i, x := range s {
			for ; x != 0; x &= x - 1 {
				if !yield(64*i + bits.TrailingZeros64(x)) {
					return
				}
			}
		}
	}
}
