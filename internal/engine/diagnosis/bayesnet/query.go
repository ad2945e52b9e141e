package bayesnet

import (
	"math"
	"slices"
)

// Question asks for posteriors given evidence.
type Question struct {
	// Evidence names variables and their states.
	Evidence map[string]string
	// Variables whose posteriors are wanted; none: those of all.
	Variables []string
	// Limit of the memory of all tables in bytes; 0: DefaultLimit.
	Limit float64
}

// Answer is what a query found.
type Answer struct {
	// Evidence is the probability of the evidence; LogEvidence its natural logarithm, which does
	// not underflow.
	Evidence    float64
	LogEvidence float64
	// Posterior is, by variable and state, the probability given the evidence; nil where it was not asked for.
	Posterior [][]float64
	Effort    Effort
}

// Query gives the posterior of every variable given the evidence; see Ask.
func (n *Network) Query(evidence map[string]string) (Answer, error) {
	return n.Ask(Question{Evidence: evidence})
}

// Ask gives posteriors by elimination in buckets, forwards for the evidence and backwards for the
// posteriors (the messages of a junction tree). What is neither asked for nor observed, nor an ancestor of
// such, is left out. Cost grows with the largest table. Its error is an *InvalidError, an *ImpossibleError or a
// *TooLargeError.
func (n *Network) Ask(q Question) (Answer, error) {
	if err := n.Check(); err != nil {
		return Answer{}, err
	}
	observed, err := n.observe(q.Evidence)
	if err != nil {
		return Answer{}, err
	}
	wanted, err := n.wanted(q.Variables)
	if err != nil {
		return Answer{}, err
	}
	c := make(cards, len(n.Variables))
	for v := range n.Variables {
		c[v] = len(n.Variables[v].States)
	}
	factors := n.relevant(c, observed, wanted)
	order, effort := eliminationOrder(c, factors)
	effort.charge(factors)
	if q.Limit == 0 {
		q.Limit = DefaultLimit
	}
	if effort.Bytes > q.Limit || effort.Work > maxWork {
		return Answer{Effort: effort}, &TooLargeError{Effort: effort, Limit: q.Limit}
	}
	t := newBuckets(c, factors, order)
	if !t.forwards() {
		return Answer{Effort: effort}, &ImpossibleError{}
	}
	a := Answer{LogEvidence: t.logTotal, Evidence: math.Exp(t.logTotal), Posterior: make([][]float64, len(n.Variables)), Effort: effort}
	t.backwards(wanted, a.Posterior)
	for v, state := range observed {
		if wanted[v] {
			a.Posterior[v] = make([]float64, c[v])
			a.Posterior[v][state] = 1
		}
	}
	return a, nil
}

// charge adds the tables that an answer starts with, and the messages on the way back.
func (e *Effort) charge(factors []factor) {
	e.Variables = len(factors)
	e.Bytes *= 2
	for _, f := range factors {
		e.Bytes += 8 * float64(len(f.values))
	}
}

// wanted marks the variables that are asked for.
func (n *Network) wanted(names []string) ([]bool, error) {
	out := make([]bool, len(n.Variables))
	for _, name := range names {
		v, known := n.Index(name)
		if !known {
			return nil, invalid("query of %s, which is not in the network", name)
		}
		out[v] = true
	}
	if len(names) == 0 {
		out = slices.Repeat([]bool{true}, len(out))
	}
	return out, nil
}

// relevant gives the tables of what is asked for, what is observed, and their ancestors, with observed
// states put in. The rows of all others sum up to 1 and change nothing.
func (n *Network) relevant(c cards, observed map[int]int, wanted []bool) []factor {
	bears := make([]bool, len(n.Variables))
	var mark func(v int)
	mark = func(v int) {
		if bears[v] {
			return
		}
		bears[v] = true
		for _, p := range n.Variables[v].Parents {
			mark(p)
		}
	}
	var factors []factor
	for v := range n.Variables {
		if _, seen := observed[v]; seen || wanted[v] {
			mark(v)
		}
	}
	for v, yes := range bears {
		if yes {
			factors = append(factors, c.given(n.conditional(c, v), observed))
		}
	}
	return factors
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
		m := t.cards.product(scope, in, rest)
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

// backwards sends messages from the roots towards the buckets of wanted variables and reads off their posteriors.
func (t *buckets) backwards(wanted []bool, posterior [][]float64) {
	needed := make([]bool, len(t.order)) // the bucket or one below it is wanted
	for i, v := range t.order {
		needed[i] = needed[i] || wanted[v]
		if p := t.parent[i]; p >= 0 && needed[i] {
			needed[p] = true
		}
	}
	down := make([]factor, len(t.order))
	for i := len(t.order) - 1; i >= 0; i-- {
		if !needed[i] {
			continue
		}
		in := t.inputs(i, -1)
		if t.parent[i] >= 0 {
			in = append(in, down[i])
		}
		if v := t.order[i]; wanted[v] {
			own := t.cards.product(union(in), in, []int{v})
			scale(own.values)
			posterior[v] = own.values
		}
		for _, child := range t.children[i] {
			if needed[child] {
				down[child] = t.toChild(i, child, down[i])
			}
		}
	}
}

// toChild is all that a bucket knows, but for what that child told it.
func (t *buckets) toChild(bucket, child int, down factor) factor {
	in := t.inputs(bucket, child)
	if t.parent[bucket] >= 0 {
		in = append(in, down)
	}
	// What the child speaks of and nothing else here does is left open by a table of ones.
	for _, v := range t.up[child].vars {
		if !slices.Contains(union(in), v) {
			in = append(in, factor{vars: []int{v}, values: slices.Repeat([]float64{1}, t.cards[v])})
		}
	}
	m := t.cards.product(union(in), in, t.up[child].vars)
	scale(m.values)
	return m
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
