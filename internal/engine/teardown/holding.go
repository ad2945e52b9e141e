package teardown

import "slices"

// holding is the states that are held, in the order in which they were entered.
type holding struct {
	engine *Engine
	states []int
}

func newHolding(e *Engine, states []int) *holding {
	return &holding{e, slices.Clone(states)}
}

func (h *holding) has(state int) bool { return slices.Contains(h.states, state) }

func (h *holding) enter(state int) {
	if !h.has(state) {
		h.states = append(h.states, state)
	}
}

// leave gives up the state, and before it those that rest upon it; it lists them in that order.
func (h *holding) leave(state int) []int {
	if !h.has(state) {
		return nil
	}
	var left []int
	for i := len(h.states) - 1; i >= 0; i-- {
		s := h.states[i]
		if s == state || slices.Contains(h.engine.stateRequires[s], state) {
			left = append(left, s)
			h.states = slices.Delete(h.states, i, i+1)
		}
	}
	return left
}

// jobNeeds lists the states that the job requires, each after what it needs itself.
func (e *Engine) jobNeeds(tasks []Task, j job) []int {
	if j.task >= 0 {
		return e.taskRequires(tasks[j.task])
	}
	return e.requires[j.operation]
}

func (e *Engine) jobForbids(tasks []Task, j job) []int {
	if j.task >= 0 {
		return e.stateIndexes(tasks[j.task].ForbidsStates)
	}
	return e.stateIndexes(e.model.Operations[j.operation].ForbidsStates)
}

func (e *Engine) stateIndexes(ids []string) []int {
	out := make([]int, len(ids))
	for i, id := range ids {
		out[i] = e.states[id]
	}
	return out
}

// taskRequires is what requires is for operations; the task's states were checked before.
func (e *Engine) taskRequires(t Task) []int {
	var out []int
	for _, s := range e.stateIndexes(t.NeedsStates) {
		for _, r := range append(slices.Clone(e.stateRequires[s]), s) {
			if !slices.Contains(out, r) {
				out = append(out, r)
			}
		}
	}
	return out
}
