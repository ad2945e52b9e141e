package andor

// node is a subproblem, with the original index of each of its actions.
type node struct {
	Problem
	origin []int
}

// reduced is what is left of a problem once everything that is certain has been decided.
type reduced struct {
	// paid are original indexes of actions that every solution contains, and cost is their sum.
	paid     []int
	cost     float64
	feasible bool
	// parts are independent subproblems; a solution is one of each.
	parts []node
}

// reduce removes what cannot be done, pays for actions that every solution must contain, lets
// everything free happen, drops what the goal does not rest upon, and splits the rest. Where there
// are no alternatives nothing is left, at linear cost.
func reduce(n node) reduced {
	possible, _ := forward(n.Problem, func(int) bool { return true })
	for _, g := range n.Goal {
		if !possible[g] {
			return reduced{}
		}
	}
	usable := make([]bool, len(n.Actions))
	for i, a := range n.Actions {
		usable[i] = all(a.Pre, possible)
	}
	r := reduced{feasible: true}
	actions := append([]Action(nil), n.Actions...)
	achieved := achievers(n.Problem)
	for _, a := range forced(n, usable, achieved) {
		if actions[a].Cost > 0 {
			r.paid = append(r.paid, n.origin[a])
			r.cost += actions[a].Cost
			actions[a].Cost = 0
		}
	}
	n.Actions = actions
	given, _ := forward(n.Problem, func(a int) bool { return usable[a] && actions[a].Cost == 0 })
	r.parts = split(n, usable, given, achieved)
	return r
}

func all(facts []int, in []bool) bool {
	for _, f := range facts {
		if !in[f] {
			return false
		}
	}
	return true
}

// forced lists the actions that are the only way to a fact that is needed for certain.
func forced(n node, usable []bool, achieved index) []int {
	needed := make([]bool, n.Facts)
	for _, f := range n.Start {
		needed[f] = true // already true, so that nothing is asked for it
	}
	taken := make([]bool, len(n.Actions))
	var open, out []int
	need := func(facts []int) {
		for _, f := range facts {
			if !needed[f] {
				needed[f] = true
				open = append(open, f)
			}
		}
	}
	need(n.Goal)
	for len(open) > 0 {
		f := open[len(open)-1]
		open = open[:len(open)-1]
		only := -1
		for _, a := range achieved.of(f) {
			if usable[a] && only >= 0 && only != int(a) {
				only = -2
				break
			}
			if usable[a] {
				only = int(a)
			}
		}
		if only >= 0 && !taken[only] {
			taken[only] = true
			out = append(out, only)
			need(n.Actions[only].Pre)
		}
	}
	return out
}

// split keeps the actions on which the goal may still rest, without facts that are given, and
// groups them by the facts that they share.
func split(n node, usable, given []bool, achieved index) []node {
	relevant, kept := backward(n, usable, given, achieved)
	sets := newSets(n.Facts)
	for _, a := range kept {
		link := -1
		for _, list := range [2][]int{n.Actions[a].Pre, n.Actions[a].Add} {
			for _, f := range list {
				if !relevant[f] {
					continue
				}
				if link >= 0 {
					sets.join(link, f)
				}
				link = f
			}
		}
	}
	b := partBuilder{sets: sets, relevant: relevant, at: map[int]int{}, number: make([]int, n.Facts)}
	for f := range n.Facts {
		if relevant[f] {
			b.addFact(f)
		}
	}
	for _, g := range n.Goal {
		if relevant[g] {
			part := b.part(g)
			part.Goal = append(part.Goal, b.number[g])
		}
	}
	for _, a := range kept {
		b.addAction(n.Actions[a], n.origin[a])
	}
	return b.parts
}

// backward marks the facts that are still to be made true and may matter to the goal, and lists
// the actions that may make them true.
func backward(n node, usable, given []bool, achieved index) (relevant []bool, kept []int) {
	relevant = make([]bool, n.Facts)
	seen := make([]bool, len(n.Actions))
	var open []int
	mark := func(facts []int) {
		for _, f := range facts {
			if !given[f] && !relevant[f] {
				relevant[f] = true
				open = append(open, f)
			}
		}
	}
	mark(n.Goal)
	for len(open) > 0 {
		f := open[len(open)-1]
		open = open[:len(open)-1]
		for _, a := range achieved.of(f) {
			if usable[a] && !seen[a] {
				seen[a] = true
				kept = append(kept, int(a))
				mark(n.Actions[a].Pre)
			}
		}
	}
	return relevant, kept
}

// partBuilder renumbers facts and actions into independent problems.
type partBuilder struct {
	sets     *sets
	relevant []bool
	at       map[int]int
	number   []int
	parts    []node
}

func (b *partBuilder) part(fact int) *node {
	root := b.sets.find(fact)
	i, known := b.at[root]
	if !known {
		i = len(b.parts)
		b.at[root] = i
		b.parts = append(b.parts, node{})
	}
	return &b.parts[i]
}

func (b *partBuilder) addFact(f int) {
	p := b.part(f)
	b.number[f] = p.Facts
	p.Facts++
}

func (b *partBuilder) addAction(a Action, origin int) {
	var p *node
	out := Action{Cost: a.Cost}
	for _, f := range a.Add {
		if b.relevant[f] {
			p = b.part(f)
			out.Add = append(out.Add, b.number[f])
		}
	}
	for _, f := range a.Pre {
		if b.relevant[f] {
			out.Pre = append(out.Pre, b.number[f])
		}
	}
	p.Actions = append(p.Actions, out)
	p.origin = append(p.origin, origin)
}

// sets is a union-find structure.
type sets struct{ owner []int }

func newSets(n int) *sets {
	s := &sets{make([]int, n)}
	for i := range s.owner {
		s.owner[i] = i
	}
	return s
}

func (s *sets) find(i int) int {
	for s.owner[i] != i {
		s.owner[i] = s.owner[s.owner[i]]
		i = s.owner[i]
	}
	return i
}

func (s *sets) join(i, j int) { s.owner[s.find(i)] = s.find(j) }
