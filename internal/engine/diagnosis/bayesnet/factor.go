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

// strides gives, for each variable of the scope, how far a step of it moves in the factor's table;
// 0 for variables that the factor does not have.
func (c cards) strides(f factor, scope []int) []int {
	out := make([]int, len(scope))
	stride := 1
	for i := len(f.vars) - 1; i >= 0; i-- {
		if at := slices.Index(scope, f.vars[i]); at >= 0 {
			out[at] = stride
		}
		stride *= c[f.vars[i]]
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

// product multiplies factors over a scope that covers them all.
func (c cards) product(scope []int, factors []factor) factor {
	out := factor{vars: scope, values: slices.Repeat([]float64{1}, int(c.size(scope)))}
	for _, f := range factors {
		c.walk(scope, c.strides(f, scope), func(at, other int) { out.values[at] *= f.values[other] })
	}
	return out
}

// onto sums out everything but the given variables.
func (c cards) onto(f factor, vars []int) factor {
	out := factor{vars: vars, values: make([]float64, int(c.size(vars)))}
	c.walk(f.vars, c.strides(out, f.vars), func(at, other int) { out.values[other] += f.values[at] })
	return out
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
	c.walk(free, c.strides(f, free), func(at, other int) { out.values[at] = f.values[base+other] })
	return out
}

// conditional is the factor of a variable's table, brought into rising order.
func (n *Network) conditional(c cards, v int) factor {
	written := append(slices.Clone(n.Variables[v].Parents), v)
	sorted := slices.Sorted(slices.Values(written))
	out := factor{vars: sorted, values: make([]float64, len(n.Variables[v].Table))}
	strides := c.strides(out, written) // of the sorted table, by the order in which it is written
	c.walk(written, strides, func(at, other int) { out.values[other] = n.Variables[v].Table[at] })
	return out
}
