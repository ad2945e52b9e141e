package bayesnet

import "slices"

// factor is a table over variables in rising order, the last changing fastest.
type factor struct {
	vars   []int
	values []float64
}

// cards is the number of states by variable.
type cards []int

func (c cards) size(vars []int) float64 {
	size := 1.0
	for _, v := range vars {
		size *= float64(c[v])
	}
	return size
}

// strides gives, for each variable of the scope, how far a step of it moves in a table over vars;
// 0 for variables that the table does not have.
func (c cards) strides(vars, scope []int) []int {
	out := make([]int, len(scope))
	stride := 1
	for i := len(vars) - 1; i >= 0; i-- {
		if at := slices.Index(scope, vars[i]); at >= 0 {
			out[at] = stride
		}
		stride *= c[vars[i]]
	}
	return out
}

// walk visits every entry of a table over the scope in order, keeping the matching position in
// another table with the given strides.
func (c cards) walk(scope, strides []int, visit func(at, other int)) {
	count := make([]int, len(scope))
	other := 0
	for at := range int(c.size(scope)) {
		visit(at, other)
		for i := len(scope) - 1; i >= 0; i-- {
			count[i]++
			other += strides[i]
			if count[i] < c[scope[i]] {
				break
			}
			count[i] = 0
			other -= strides[i] * c[scope[i]]
		}
	}
}

// product multiplies factors over a scope that covers them all and sums out everything but the
// variables to keep. The product itself is never held, only its sums.
func (c cards) product(scope []int, factors []factor, keep []int) factor {
	out := factor{vars: keep, values: make([]float64, int(c.size(keep)))}
	steps := make([][]int, len(factors))
	for k, f := range factors {
		steps[k] = c.strides(f.vars, scope)
	}
	outSteps := c.strides(keep, scope)
	at, outAt := make([]int, len(factors)), 0
	count := make([]int, len(scope))
	for {
		p := 1.0
		for k := range factors {
			p *= factors[k].values[at[k]]
		}
		out.values[outAt] += p
		i := len(scope) - 1
		for ; i >= 0; i-- {
			count[i]++
			move := 1
			if count[i] == c[scope[i]] {
				count[i], move = 0, 1-c[scope[i]]
			}
			for k := range at {
				at[k] += move * steps[k][i]
			}
			outAt += move * outSteps[i]
			if move == 1 && count[i] > 0 {
				break
			}
		}
		if i < 0 {
			return out
		}
	}
}

// given keeps the entries in which observed variables have their observed states.
func (c cards) given(f factor, observed map[int]int) factor {
	var free []int
	base, stride := 0, 1
	for i := len(f.vars) - 1; i >= 0; i-- {
		if state, yes := observed[f.vars[i]]; yes {
			base += state * stride
		} else {
			free = append([]int{f.vars[i]}, free...)
		}
		stride *= c[f.vars[i]]
	}
	out := factor{vars: free, values: make([]float64, int(c.size(free)))}
	c.walk(free, c.strides(f.vars, free), func(at, other int) { out.values[at] = f.values[base+other] })
	return out
}

// conditional is the factor of a variable's table, brought into rising order.
func (n *Network) conditional(c cards, v int) factor {
	written := append(slices.Clone(n.Variables[v].Parents), v)
	sorted := slices.Sorted(slices.Values(written))
	out := factor{vars: sorted, values: make([]float64, len(n.Variables[v].Table))}
	strides := c.strides(sorted, written) // of the sorted table, by the order in which it is written
	c.walk(written, strides, func(at, other int) { out.values[other] = n.Variables[v].Table[at] })
	return out
}
