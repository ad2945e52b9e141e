package teardown

import (
	"fmt"
	"slices"
	"strings"

	"ramprow/internal/engine/teardown/andor"
)

// explain finds the shortest chain from a fact that cannot be reached to one that nothing brings
// about, or that waits for itself.
func (n *network) explain(missing []int) error {
	possible := andor.Reachable(n.problem)
	type visit struct {
		fact int
		from int
	}
	queue := []visit{}
	seen := map[int]bool{}
	for _, f := range missing {
		queue = append(queue, visit{f, -1})
		seen[f] = true
	}
	for at := 0; at < len(queue); at++ {
		next := n.waitsFor(queue[at].fact, possible)
		dead := true
		for _, f := range next {
			if !seen[f] {
				dead = false
				seen[f] = true
				queue = append(queue, visit{f, at})
			}
		}
		if !dead {
			continue
		}
		var chain []int
		for i := at; i >= 0; i = queue[i].from {
			chain = append([]int{queue[i].fact}, chain...)
		}
		return n.tell(chain, possible)
	}
	return &ImpossibleError{}
}

// waitsFor lists the unreachable facts that stand between a fact and any action that would bring
// it about.
func (n *network) waitsFor(fact int, possible []bool) []int {
	var out []int
	for _, a := range n.problem.Actions {
		for _, f := range a.Add {
			if f != fact {
				continue
			}
			for _, pre := range a.Pre {
				if !possible[pre] {
					out = append(out, pre)
				}
			}
		}
	}
	return out
}

// tell turns facts into obstacles; choices are told as what they choose between.
func (n *network) tell(chain []int, possible []bool) error {
	out := &ImpossibleError{}
	for i, fact := range chain {
		piece, state, named := n.name(fact)
		if !named {
			continue
		}
		o := Obstacle{Piece: piece, State: state, BlockedBy: n.blockers(fact, possible)}
		last := i == len(chain)-1
		o.Why = n.why(fact, o.BlockedBy, last)
		if k := len(out.Chain); k > 0 && out.Chain[k-1].Piece == piece && piece != "" {
			out.Chain[k-1] = o // reached and off of the same piece are told once
			continue
		}
		out.Chain = append(out.Chain, o)
	}
	return out
}

func (n *network) name(fact int) (piece, state string, named bool) {
	m := n.engine.model
	switch p := len(m.Pieces); {
	case fact < p:
		return m.Pieces[fact].ID, "", true
	case fact < 2*p:
		return m.Pieces[fact-p].ID, "", true
	case fact < 2*p+len(m.States):
		return "", m.States[fact-2*p].ID, true
	default:
		return "", "", false
	}
}

func (n *network) title(fact int) string {
	m := n.engine.model
	if p := len(m.Pieces); fact >= 2*p {
		return m.States[fact-2*p].Title
	} else if fact >= p {
		fact -= p
	}
	return m.Pieces[fact].Title
}

// blockers names what a fact waits for, through choices.
func (n *network) blockers(fact int, possible []bool) []string {
	var out []string
	self, _, _ := n.name(fact)
	seen := map[string]bool{self: true}
	visited := map[int]bool{}
	var visit func(f int)
	visit = func(f int) {
		if visited[f] {
			return
		}
		visited[f] = true
		for _, w := range n.waitsFor(f, possible) {
			piece, state, named := n.name(w)
			switch id := piece + state; {
			case !named || id == self:
				visit(w)
			case !seen[id]:
				seen[id] = true
				out = append(out, id)
			}
		}
	}
	visit(fact)
	return out
}

func (n *network) why(fact int, blockers []string, last bool) string {
	title := n.title(fact)
	switch {
	case len(blockers) == 0:
		return fmt.Sprintf("no operation that is possible on this car opens %s%s", title, n.ruledOut(fact))
	case last:
		return fmt.Sprintf("%s waits for %s, which in turn waits for it", title, strings.Join(blockers, ", "))
	default:
		return fmt.Sprintf("%s waits for %s", title, strings.Join(blockers, ", "))
	}
}

// ruledOut says why ways that the model knows of do not count.
func (n *network) ruledOut(fact int) string {
	piece, _, _ := n.name(fact)
	allowed := map[int]bool{}
	for _, m := range n.meaning {
		allowed[m.operation] = true
	}
	var out []string
	for o, m := range n.engine.model.Operations {
		switch {
		case allowed[o] || !slices.Contains(m.TakesOff, piece) && !slices.Contains(m.Reaches, piece):
		case n.engine.contradicts(o):
			out = append(out, fmt.Sprintf("'%s' needs a state that it forbids", m.Title))
		default:
			out = append(out, fmt.Sprintf("'%s' is excluded", m.Title))
		}
	}
	if len(out) == 0 {
		return ""
	}
	return ": " + strings.Join(out, ", ")
}
