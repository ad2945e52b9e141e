package networks

import (
	"math"
	"slices"

	"ramprow/internal/engine/diagnosis/bayesnet"
)

// check multiplies out every world that the evidence leaves, in the plainest way, and gives the largest
// difference of a posterior or of the evidence; nil where there are too many worlds.
func check(n *bayesnet.Network, evidence map[string]string, answer bayesnet.Answer) *Check {
	fixed := make([]int, len(n.Variables))
	worlds := 1.0
	for v, x := range n.Variables {
		fixed[v] = -1
		if state, seen := evidence[x.Name]; seen {
			fixed[v] = slices.Index(x.States, state)
		} else {
			worlds *= float64(len(x.States))
		}
	}
	if worlds > CheckWorlds {
		return nil
	}
	total, sums := multiplyOut(n, fixed)
	c := &Check{Worlds: worlds, Difference: math.Abs(total - answer.Evidence)}
	for v, p := range answer.Posterior {
		for s, x := range p {
			c.Difference = max(c.Difference, math.Abs(sums[v][s]/total-x))
		}
	}
	return c
}

// multiplyOut visits the variables parents first, so that each world's probability grows as it is built.
func multiplyOut(n *bayesnet.Network, fixed []int) (total float64, sums [][]float64) {
	order := parentsFirst(n)
	world := make([]int, len(order))
	sums = make([][]float64, len(order))
	for v, x := range n.Variables {
		sums[v] = make([]float64, len(x.States))
	}
	var visit func(at int, p float64)
	visit = func(at int, p float64) {
		if p == 0 {
			return
		}
		if at == len(order) {
			total += p
			for v, s := range world {
				sums[v][s] += p
			}
			return
		}
		v := order[at]
		x := n.Variables[v]
		row := 0
		for _, parent := range x.Parents {
			row = row*len(n.Variables[parent].States) + world[parent]
		}
		for s := range x.States {
			if fixed[v] < 0 || fixed[v] == s {
				world[v] = s
				visit(at+1, p*x.Table[row*len(x.States)+s])
			}
		}
	}
	visit(0, 1)
	return total, sums
}

func parentsFirst(n *bayesnet.Network) []int {
	var order []int
	placed := make([]bool, len(n.Variables))
	var place func(v int)
	place = func(v int) {
		if placed[v] {
			return
		}
		placed[v] = true
		for _, p := range n.Variables[v].Parents {
			place(p)
		}
		order = append(order, v)
	}
	for v := range n.Variables {
		place(v)
	}
	return order
}
