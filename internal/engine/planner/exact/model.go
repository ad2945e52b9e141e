package exact

import (
	"errors"
	"slices"

	"ramprow/internal/engine/planner/rcpsp"
)

// Limits of what is worth trying: the memory is some hundred bytes for each value
// that a start may have, and for each pair.
const (
	maxValues = 4 << 20
	maxPairs  = 12_000
)

var errTooLarge = errors.New("exact: the project is too large for a proof")

// A literal says that a side is at or above a bound. Side 2v is variable v, side
// 2v+1 is -v; so one comparison does for both directions.
type literal struct{ side, bound int32 }

func (l literal) not() literal { return literal{l.side ^ 1, 1 - l.bound} }

// arc says that side to is at least as large as side from plus the distance, if
// the condition holds; condition none: always.
type arc struct {
	from, to, distance int32
	when               literal
}

var none = literal{-1, 0}

// pair is two activities that cannot run at once; the variable is 1 if first comes
// first and 0 if second does.
type pair struct{ first, second, variable int32 }

// task is what an activity takes of a resource.
type task struct{ activity, units int32 }

type resource struct {
	capacity int32
	tasks    []task
}

// model is a project as variables: the starts of the activities, the end of the
// project, and for each pair an order.
type model struct {
	activities int32
	end        int32 // the variable of the end
	variables  int32
	durations  []int32
	least      []int32 // of each side, before anything is known
	arcs       [][]arc // by the side that they start from
	given      []arc   // conditional ones, by pair: 4 each
	pairs      []pair
	pairsOf    [][]int32 // of each activity
	resources  []resource
	resourceOf [][]int32 // of each activity, indices of resources with a profile
}

// newModel lays out a project that is to end no later than the horizon.
func newModel(p rcpsp.Project, horizon int) (*model, error) {
	n := len(p.Durations)
	if (n+1)*(horizon+1) > maxValues {
		return nil, errTooLarge
	}
	m := &model{activities: int32(n), end: int32(n), variables: int32(n + 1), durations: make([]int32, n+1)} //nolint:gosec // bounded
	for a, d := range p.Durations {
		m.durations[a] = int32(d) //nolint:gosec // bounded
	}
	follows := closure(p)
	m.arcs = make([][]arc, 2*m.variables)
	for a := range n {
		for _, s := range p.Successors[a] {
			m.link(int32(a), int32(s), none) //nolint:gosec // bounded
		}
		m.link(int32(a), m.end, none)
	}
	m.least = make([]int32, 2*m.variables)
	for v := range m.variables {
		m.least[2*v+1] = -int32(horizon) //nolint:gosec // bounded
	}
	m.share(p, follows)
	return m, nil
}

// link makes second start no earlier than first has finished, seen from both ends.
func (m *model) link(first, second int32, when literal) {
	d := m.durations[first]
	forth, back := arc{2 * first, 2 * second, d, when}, arc{2*second + 1, 2*first + 1, d, when}
	if when == none {
		m.arcs[forth.from] = append(m.arcs[forth.from], forth)
		m.arcs[back.from] = append(m.arcs[back.from], back)
		return
	}
	m.given = append(m.given, forth, back)
}

// share lays out resources and the pairs that cannot run at once. A resource on
// which no two can is nothing but its pairs.
func (m *model) share(p rcpsp.Project, follows [][]bool) {
	m.resourceOf = make([][]int32, len(p.Durations))
	m.pairsOf = make([][]int32, len(p.Durations))
	pairs := apart(p, follows)
	paired := len(pairs) <= maxPairs
	if paired {
		for _, ab := range pairs {
			m.addPair(int32(ab[0]), int32(ab[1])) //nolint:gosec // bounded
		}
	}
	for r, c := range p.Capacities {
		one := resource{capacity: int32(c)} //nolint:gosec // checked by the caller
		alone := true
		for a, d := range p.Durations {
			if u := p.Demands[a][r]; u > 0 && d > 0 {
				one.tasks = append(one.tasks, task{int32(a), int32(u)}) //nolint:gosec // bounded
				alone = alone && 2*u > c
			}
		}
		if len(one.tasks) < 2 || alone && paired {
			continue
		}
		slices.SortStableFunc(one.tasks, func(x, y task) int { return int(y.units - x.units) })
		for _, t := range one.tasks {
			m.resourceOf[t.activity] = append(m.resourceOf[t.activity], int32(len(m.resources))) //nolint:gosec // few
		}
		m.resources = append(m.resources, one)
	}
}

// apart gives the pairs that cannot run at once and may come in either order.
func apart(p rcpsp.Project, follows [][]bool) [][2]int {
	var pairs [][2]int
	for a, d := range p.Durations {
		for b := a + 1; b < len(p.Durations); b++ {
			if d == 0 || p.Durations[b] == 0 || follows[a][b] || follows[b][a] {
				continue
			}
			for r, c := range p.Capacities {
				if p.Demands[a][r]+p.Demands[b][r] > c {
					pairs = append(pairs, [2]int{a, b})
					break
				}
			}
		}
	}
	return pairs
}

func (m *model) addPair(a, b int32) {
	v := m.variables
	m.variables++
	m.least = append(m.least, 0, -1)
	m.arcs = append(m.arcs, nil, nil)
	i := int32(len(m.pairs)) //nolint:gosec // bounded by maxPairs
	m.pairs = append(m.pairs, pair{a, b, v})
	m.pairsOf[a], m.pairsOf[b] = append(m.pairsOf[a], i), append(m.pairsOf[b], i)
	m.link(a, b, literal{2 * v, 1})
	m.link(b, a, literal{2*v + 1, 0})
}

// closure tells for every two activities whether one must follow the other.
func closure(p rcpsp.Project) [][]bool {
	n := len(p.Durations)
	follows := make([][]bool, n)
	state := make([]bool, n)
	var visit func(a int)
	visit = func(a int) {
		if state[a] {
			return
		}
		state[a] = true
		row := make([]bool, n)
		for _, s := range p.Successors[a] {
			visit(s)
			row[s] = true
			for k, f := range follows[s] {
				row[k] = row[k] || f
			}
		}
		follows[a] = row
	}
	for a := range n {
		visit(a)
	}
	return follows
}
