package teardown

import "slices"

// improvable bounds the operations between two inspections that are moved about; beyond it the
// greedy order stands.
const improvable = 60

// improve moves single operations to where least set-up is lost, as long as that helps. An
// operation stays behind what the greedy order made it rest upon and before what rests upon it,
// and on its side of every inspection. Where an operation forbids a state, order matters for more
// than set-up, and the greedy order stands.
func (e *Engine) improve(start *standing, jobs []job) {
	for _, j := range jobs {
		if j.operation >= 0 && len(e.model.Operations[j.operation].ForbidsStates) > 0 {
			return
		}
	}
	before := e.dependencies(start, jobs)
	for from := 0; from < len(jobs); {
		to := from
		for to < len(jobs) && jobs[to].operation >= 0 {
			to++
		}
		if to-from > 2 && to-from <= improvable {
			for e.shift(jobs[from:to], before) {
			}
		}
		from = to + 1
	}
}

// dependencies lists, by operation, the operations that opened first what it needs.
func (e *Engine) dependencies(start *standing, jobs []job) map[int][]int {
	offBy, reachedBy := map[int]int{}, map[int]int{}
	before := map[int][]int{}
	for _, j := range jobs {
		if j.operation < 0 {
			continue
		}
		for _, g := range e.needsOpen(j.operation) {
			by := offBy
			if g.reached {
				by = reachedBy
			}
			at := slices.IndexFunc(g.pieces, func(p int) bool { _, opened := by[p]; return opened })
			if at >= 0 && !start.satisfies(g) {
				before[j.operation] = append(before[j.operation], by[g.pieces[at]])
			}
		}
		m := e.model.Operations[j.operation]
		for _, id := range m.TakesOff {
			note(offBy, e.pieces[id], j.operation)
			note(reachedBy, e.pieces[id], j.operation)
		}
		for _, id := range m.Reaches {
			note(reachedBy, e.pieces[id], j.operation)
		}
	}
	return before
}

// needsOpen is what the operation itself and the states that it requires need open.
func (e *Engine) needsOpen(operation int) []group {
	groups := slices.Clone(e.groups[operation])
	for _, s := range e.requires[operation] {
		for _, id := range e.model.States[s].NeedsOff {
			groups = append(groups, group{pieces: []int{e.pieces[id]}})
		}
	}
	return groups
}

// note keeps the first operation that opened a piece.
func note(by map[int]int, piece, operation int) {
	if _, known := by[piece]; !known {
		by[piece] = operation
	}
}

// shift makes the best single move, if any lessens the set-up.
func (e *Engine) shift(jobs []job, before map[int][]int) bool {
	least := e.setupLoss(jobs) - 1e-9
	var best []job
	for i := range jobs {
		moved := slices.Clone(jobs)
		for k := i; k > 0 && !slices.Contains(before[moved[k].operation], moved[k-1].operation); k-- {
			moved[k], moved[k-1] = moved[k-1], moved[k]
			if cost := e.setupLoss(moved); cost < least {
				least, best = cost, slices.Clone(moved)
			}
		}
		moved = slices.Clone(jobs)
		for k := i; k+1 < len(moved) && !slices.Contains(before[moved[k+1].operation], moved[k].operation); k++ {
			moved[k], moved[k+1] = moved[k+1], moved[k]
			if cost := e.setupLoss(moved); cost < least {
				least, best = cost, slices.Clone(moved)
			}
		}
	}
	copy(jobs, best)
	return best != nil
}

// setupLoss is what setupByPhase charges for operations in this order.
func (e *Engine) setupLoss(jobs []job) float64 {
	loss, position := 0.0, ""
	var tools []string
	for _, j := range jobs {
		r := &e.model.Operations[j.operation].Resources
		if r.Position != "" {
			if position != "" && position != r.Position {
				loss += e.model.Setup.PositionChange
			}
			position = r.Position
		}
		if len(r.Tools) > 0 {
			loss += e.model.Setup.ToolChange * float64(missing(r.Tools, tools))
			tools = r.Tools
		}
	}
	return loss
}
