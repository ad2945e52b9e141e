package rcpsp

import (
	"fmt"
	"slices"
)

// MaxCapacity is the largest capacity of a resource, in units.
const MaxCapacity = 1<<15 - 1

// Project is activities with precedence and demands for renewable resources.
type Project struct {
	// Durations in periods; 0 is allowed.
	Durations []int
	// Demands[a][r] is the units of resource r that activity a holds while it runs.
	Demands [][]int
	// Successors[a] may start when a has finished.
	Successors [][]int
	// Capacities in units that are there in every period.
	Capacities []int
}

// network is a project made ready for decoding in one direction.
type network struct {
	n         int
	durations []int32
	// preds must be finished before; succs may start after.
	preds, succs [][]int32
	// need[w][a] is what activity a takes of the resources of word w.
	need [][]uint64
	// full[w] is a period of word w in which nothing is taken.
	full []uint64
	// rank is a topological order's position of each activity.
	rank []int32
	// tail is the longest way from an activity's start to the project's end.
	tail []int32
	// weight is what an activity holds per period, in shares of the capacities.
	weight  []int64
	horizon int32
}

// Four resources share a word: each lane has 15 bits of units and a guard bit,
// so that one subtraction compares all four.
const (
	lanes     = 4
	laneBits  = 16
	guardBits = 0x8000_8000_8000_8000
)

// compile checks a project and prepares both directions.
func compile(p Project) (forward, backward *network, err error) {
	if err := p.check(); err != nil {
		return nil, nil, err
	}
	n := len(p.Durations)
	forward = &network{n: n, durations: make([]int32, n), preds: make([][]int32, n), succs: make([][]int32, n)}
	for a, d := range p.Durations {
		forward.durations[a] = int32(d) //nolint:gosec // checked
		forward.horizon += int32(d)     //nolint:gosec // checked
		for _, s := range p.Successors[a] {
			forward.succs[a] = append(forward.succs[a], int32(s)) //nolint:gosec // an index
			forward.preds[s] = append(forward.preds[s], int32(a))
		}
	}
	forward.pack(p)
	if err := forward.order(); err != nil {
		return nil, nil, err
	}
	mirror := *forward
	mirror.preds, mirror.succs = forward.succs, forward.preds
	if err := mirror.order(); err != nil {
		return nil, nil, err
	}
	return forward, &mirror, nil
}

// maxPeriods bounds the sum of durations times the words of resources, and so the
// memory of a profile: 32 MB.
const maxPeriods = 1 << 22

func (p Project) check() error {
	n, sum := len(p.Durations), 0
	if len(p.Demands) != n || len(p.Successors) != n {
		return fmt.Errorf("rcpsp: %d durations, %d demands and %d lists of successors do not match", n, len(p.Demands), len(p.Successors))
	}
	for r, c := range p.Capacities {
		if c < 0 || c > MaxCapacity {
			return fmt.Errorf("rcpsp: resource %d has a capacity of %d; 0 to %d is possible", r, c, MaxCapacity)
		}
	}
	for a := range n {
		if p.Durations[a] < 0 {
			return fmt.Errorf("rcpsp: activity %d has a duration of %d", a, p.Durations[a])
		}
		if sum += p.Durations[a]; sum*(1+len(p.Capacities)/lanes) > maxPeriods {
			return fmt.Errorf("rcpsp: the durations sum up to more than %d periods for every four resources; use longer periods", maxPeriods)
		}
		if len(p.Demands[a]) != len(p.Capacities) {
			return fmt.Errorf("rcpsp: activity %d demands %d resources of %d", a, len(p.Demands[a]), len(p.Capacities))
		}
		for r, d := range p.Demands[a] {
			if d < 0 || d > p.Capacities[r] {
				return fmt.Errorf("rcpsp: activity %d demands %d of resource %d, of which there are %d", a, d, r, p.Capacities[r])
			}
		}
		for _, s := range p.Successors[a] {
			if s < 0 || s >= n {
				return fmt.Errorf("rcpsp: activity %d has the successor %d of %d activities", a, s, n)
			}
		}
	}
	return nil
}

func (w *network) pack(p Project) {
	w.weight = make([]int64, w.n)
	words := (len(p.Capacities) + lanes - 1) / lanes
	w.full = make([]uint64, words)
	w.need = make([][]uint64, words)
	for i := range words {
		w.need[i] = make([]uint64, w.n)
	}
	for r, c := range p.Capacities {
		word, shift := r/lanes, laneBits*(r%lanes)
		w.full[word] |= uint64(c) << shift //nolint:gosec // checked
		for a := range w.n {
			w.need[word][a] |= uint64(p.Demands[a][r]) << shift //nolint:gosec // checked
			if c > 0 {
				w.weight[a] += int64(1000 * p.Demands[a][r] / c)
			}
		}
	}
}

// order finds a topological order and the tails; an error names a circle.
func (w *network) order() error {
	w.rank, w.tail = make([]int32, w.n), make([]int32, w.n)
	open := make([]int, w.n)
	var queue []int32
	for a := range w.n {
		if open[a] = len(w.preds[a]); open[a] == 0 {
			queue = append(queue, int32(a))
		}
	}
	for i := 0; i < len(queue); i++ {
		a := queue[i]
		w.rank[a] = int32(i)
		for _, s := range w.succs[a] {
			if open[s]--; open[s] == 0 {
				queue = append(queue, s)
			}
		}
	}
	if len(queue) < w.n {
		return fmt.Errorf("rcpsp: activity %d follows itself", slices.IndexFunc(open, func(n int) bool { return n > 0 }))
	}
	for _, a := range slices.Backward(queue) {
		for _, s := range w.succs[a] {
			w.tail[a] = max(w.tail[a], w.tail[s])
		}
		w.tail[a] += w.durations[a]
	}
	return nil
}

// critical is the length of the longest path.
func (w *network) critical() int32 {
	if w.n == 0 {
		return 0
	}
	return slices.Max(w.tail)
}
