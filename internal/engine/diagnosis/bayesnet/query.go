package bayesnet

import (
	"math"
	"slices"
)

// maxEntries bounds a table: 512 MB.
const maxEntries = 1 << 26

// Answer is what a query found.
type Answer struct {
	// Evidence is the probability of the evidence; LogEvidence its natural logarithm, which does
	// not underflow.
	Evidence    float64
	LogEvidence float64
	// Posterior is, by variable and state, the probability given the evidence.
	Posterior [][]float64
}

// Query gives the posterior of every variable by elimination in buckets, forwards for the evidence
// and backwards for the posteriors (the messages of a junction tree). Cost grows with the largest
// table. Evidence names variables and their states. Its error is an *InvalidError, an
// *ImpossibleError or a *TooLargeError.
func (n *Network) Query(evidence map[string]string) (Answer, error) {
	if err := n.Check(); err != nil {
		return Answer{}, err
	}
	observed, err := n.observe(evidence)
	if err != nil {
		return Answer{}, err
	}
	c := make(cards, len(n.Variables))
	for v := range n.Variables {
		c[v] = len(n.Variables[v].States)
	}
	factors := make([]factor, len(n.Variables))
	for v := range n.Variables {
		factors[v] = c.given(n.conditional(c, v), observed)
	}
	order, largest := eliminationOrder(c, factors)
	if largest > maxEntries {
		return Answer{}, &TooLargeError{largest}
	}
	t := newBuckets(c, factors, order)
	if !t.forwards() {
		return Answer{}, &ImpossibleError{}
	}
	a := Answer{LogEvidence: t.logTotal, Evidence: math.Exp(t.logTotal), Posterior: make([][]float64, len(n.Variables))}
	t.backwards(a.Posterior)
	for v, state := range observed {
		a.Posterior[v] = make([]float64, c[v])
		a.Posterior[v][state] = 1
	}
	return a, nil
}

func (n *Network) observe(evidence map[string]string) (map[int]int, error) {
	out := make(map[int]int, len(evidence))
	for name, state := range evidence {
		v, known := n.Index(name)
		if !known {
			return nil, invalid("evidence on %s, which is not in the network", name)
		}
		s := slices.Index(n.Variables[v].States, state)
		if s < 0 {
			return nil, invalid("variable %s has no state %s", name, state)
		}
		out[v] = s
	}
	return out, nil
}

// buckets holds, for each variable in the order of elimination, the factors in which it is the
// first to go. What is left of a bucket without its variable goes to a later one, its parent.
type buckets struct {
	cards    cards
	order    []int
	position map[int]int
	own      [][]factor
	// up is the message of each bucket to its parent, which is -1 at a root.
	up       []factor
	parent   []int
	children [][]int
	logTotal float64
	constant float64
}

func newBuckets(c cards, factors []factor, order []int) *buckets {
	t := &buckets{
		cards: c, order: order, position: map[int]int{}, constant: 1,
		own: make([][]factor, len(order)), up: make([]factor, len(order)),
		parent: make([]int, len(order)), children: make([][]int, len(order)),
	}
	for i, v := range order {
		t.position[v] = i
	}
	for _, f := range factors {
		if at := t.first(f.vars); at >= 0 {
			t.own[at] = append(t.own[at], f)
		} else {
			t.constant *= f.values[0]
		}
	}
	return t
}

// first is the bucket of the variable that goes first; -1 where there is none.
func (t *buckets) first(vars []int) int {
	at := -1
	for _, v := range vars {
		if p := t.position[v]; at < 0 || p < at {
			at = p
		}
	}
	return at
}

// inputs are a bucket's own factors and its children's messages, but for one child.
func (t *buckets) inputs(bucket, without int) []factor {
	in := slices.Clone(t.own[bucket])
	for _, child := range t.children[bucket] {
		if child != without {
			in = append(in, t.up[child])
		}
	}
	return in
}

// forwards sends each bucket's message to its parent, scaled to sum up to 1 so that long products do
// not underflow. It reports whether the evidence is possible.
func (t *buckets) forwards() bool {
	t.logTotal = math.Log(t.constant)
	for i, v := range t.order {
		in := t.inputs(i, -1)
		scope := union(in)
		rest := slices.DeleteFunc(slices.Clone(scope), func(w int) bool { return w == v })
		m := t.cards.onto(t.cards.product(scope, in), rest)
		sum := scale(m.values)
		if sum == 0 {
			return false
		}
		t.logTotal += math.Log(sum)
		t.up[i], t.parent[i] = m, t.first(rest)
		if p := t.parent[i]; p >= 0 {
			t.children[p] = append(t.children[p], i)
		}
	}
	return t.constant > 0
}

// backwards sends messages from the roots to the leaves and reads off each variable's posterior.
func (t *buckets) backwards(posterior [][]float64) {
	down := make([]factor, len(t.order))
	for i := len(t.order) - 1; i >= 0; i-- {
		all := t.inputs(i, -1)
		if t.parent[i] >= 0 {
			all = append(all, down[i])
		}
		v := t.order[i]
		own := t.cards.onto(t.cards.product(union(all), all), []int{v})
		scale(own.values)
		posterior[v] = own.values
		for _, child := range t.children[i] {
			in := t.inputs(i, child)
			if t.parent[i] >= 0 {
				in = append(in, down[i])
			}
			in = append(in, factor{vars: t.up[child].vars, values: slices.Repeat([]float64{1}, len(t.up[child].values))})
			down[child] = t.cards.onto(t.cards.product(union(in), in), t.up[child].vars)
			scale(down[child].values)
		}
	}
}

// scale makes values sum up to 1 and gives what they summed up to.
func scale(values []float64) float64 {
	sum := 0.0
	for _, x := range values {
		sum += x
	}
	if sum > 0 {
		for i := range values {
			values[i] /= sum
		}
	}
	return sum
}
