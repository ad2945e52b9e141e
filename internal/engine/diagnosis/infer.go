package diagnosis

import "math/bits"

// maxExponent bounds the doubling: within a component, either causes or findings may be at most as
// many.
const maxExponent = 22

// marginals is the weight of the evidence, and the probability of each cause given it.
type marginals struct {
	total float64
	cause []float64
}

// infer sums over all worlds. Causes that no common factor ties together are independent given the
// evidence, so each component is summed by itself, by whichever of two exact methods doubles less:
// over sets of causes, or over sets of findings that are already explained.
func (b *belief) infer() (marginals, error) {
	m := marginals{total: b.scale, cause: make([]float64, len(b.present))}
	for _, c := range b.components() {
		if min(len(c.causes), len(c.factors)) > maxExponent {
			return marginals{}, &TooLargeError{len(c.causes), len(c.factors)}
		}
		var total float64
		var joint []float64
		if len(c.causes) <= len(c.factors) {
			total, joint = b.sumOverCauses(c)
		} else {
			total, joint = b.sumOverExplained(c)
		}
		m.total *= total
		if total == 0 {
			return m, nil
		}
		for k, i := range c.causes {
			m.cause[i] = joint[k] / total
		}
	}
	return m, nil
}

// component is a set of causes and the factors among them.
type component struct {
	causes  []int
	factors []int
}

// components groups causes by common factors. A factor that no cause touches is a component
// without causes, so that its constant is counted.
func (b *belief) components() []component {
	owner := make([]int, len(b.present)+len(b.factors))
	for i := range owner {
		owner[i] = i
	}
	find := func(i int) int {
		for owner[i] != i {
			owner[i] = owner[owner[i]]
			i = owner[i]
		}
		return i
	}
	for k := range b.factors {
		for i := range b.present {
			if b.factors[k].touches(i) {
				owner[find(len(b.present)+k)] = find(i)
			}
		}
	}
	index := make(map[int]int)
	var out []component
	for i := range owner {
		root := find(i)
		at, known := index[root]
		if !known {
			at = len(out)
			index[root] = at
			out = append(out, component{})
		}
		if i < len(b.present) {
			out[at].causes = append(out[at].causes, i)
		} else {
			out[at].factors = append(out[at].factors, i-len(b.present))
		}
	}
	return out
}

// sumOverCauses visits all 2^causes worlds depth first, so that a world costs one pass over the
// factors: O(2^causes * factors).
func (b *belief) sumOverCauses(c component) (total float64, joint []float64) {
	joint = make([]float64, len(c.causes))
	share := make([][]float64, len(c.causes)+1)
	for k := range share {
		share[k] = make([]float64, len(c.factors))
	}
	for f := range share[0] {
		share[0][f] = 1
	}
	var visit func(depth int, weight float64) float64
	visit = func(depth int, weight float64) float64 {
		if weight == 0 {
			return 0
		}
		if depth == len(c.causes) {
			for f, k := range c.factors {
				weight *= b.factors[k].value(share[depth][f])
			}
			return weight
		}
		i := c.causes[depth]
		copy(share[depth+1], share[depth])
		without := visit(depth+1, weight*b.absent[i])
		for f, k := range c.factors {
			share[depth+1][f] = share[depth][f] * (1 - b.factors[k].effect[i])
		}
		with := visit(depth+1, weight*b.present[i])
		joint[depth] += with
		return with + without
	}
	return visit(0, 1), joint
}

// sumOverExplained passes over the causes once forwards and once backwards with a weight for each
// set of settled factors: O(causes * factors * 2^factors). It is quickscore in positive terms.
func (b *belief) sumOverExplained(c component) (total float64, joint []float64) {
	size := 1 << len(c.factors)
	before := make([][]float64, len(c.causes)+1)
	before[0] = b.initial(c, size)
	for k, i := range c.causes {
		next := append([]float64(nil), before[k]...)
		b.settle(c, i, next)
		for s := range next {
			next[s] = b.absent[i]*before[k][s] + b.present[i]*next[s]
		}
		before[k+1] = next
	}
	after := b.accepting(c, size)
	for s, w := range before[len(c.causes)] {
		total += w * after[s]
	}
	joint = make([]float64, len(c.causes))
	for k := len(c.causes) - 1; k >= 0; k-- {
		i := c.causes[k]
		with := append([]float64(nil), after...)
		b.unsettle(c, i, with)
		for s := range after {
			joint[k] += b.present[i] * before[k][s] * with[s]
			after[s] = b.absent[i]*after[s] + b.present[i]*with[s]
		}
	}
	return total, joint
}

// initial weighs each set of settled factors before any cause; bit f of a set is factor f.
func (b *belief) initial(c component, size int) []float64 {
	w := make([]float64, size)
	w[0] = 1
	for f, k := range c.factors {
		bit := 1 << f
		for s := range bit {
			w[s|bit] = w[s] * b.factors[k].settled
			w[s] *= b.factors[k].open
		}
	}
	return w
}

// accepting is 1 for each set in which every positive observation is explained.
func (b *belief) accepting(c component, size int) []float64 {
	var must uint
	for f, k := range c.factors {
		if b.factors[k].positive {
			must |= 1 << f
		}
	}
	w := make([]float64, size)
	for s := range w {
		if bits.OnesCount(must&^uint(s)) == 0 {
			w[s] = 1
		}
	}
	return w
}

// settle lets the present cause act on weights of sets, in place.
func (b *belief) settle(c component, cause int, w []float64) {
	for f, k := range c.factors {
		p := b.factors[k].effect[cause]
		if p == 0 {
			continue
		}
		bit := 1 << f
		for s := range w {
			if s&bit != 0 {
				continue
			}
			if b.factors[k].positive {
				w[s|bit] += p * w[s]
			}
			w[s] *= 1 - p
		}
	}
}

// unsettle is the transpose of settle.
func (b *belief) unsettle(c component, cause int, w []float64) {
	for f, k := range c.factors {
		p := b.factors[k].effect[cause]
		if p == 0 {
			continue
		}
		bit := 1 << f
		for s := range w {
			if s&bit != 0 {
				continue
			}
			w[s] *= 1 - p
			if b.factors[k].positive {
				w[s] += p * w[s|bit]
			}
		}
	}
}
