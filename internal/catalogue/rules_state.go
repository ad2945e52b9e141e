package catalogue

import (
	"fmt"
	"slices"
	"strings"
)

// stateNeedsItself finds states that must hold before they are entered.
func stateNeedsItself(c *content, found report) {
	for i, state := range c.message.GetStates() {
		if j := slices.Index(state.GetNeedsStates(), state.GetId()); j >= 0 {
			found(fmt.Sprintf("states[%d].needs_states[%d]", i, j), "a state cannot be needed before itself")
		}
	}
}

// stateCycle finds states that wait for each other.
func stateCycle(c *content, found report) {
	needs := func(id string) []string {
		var others []string
		for _, need := range c.states[id].GetNeedsStates() {
			if need != id { // needing itself has a rule of its own
				others = append(others, need)
			}
		}
		return others
	}
	var ids []string
	at := map[string]int{}
	for i, state := range c.message.GetStates() {
		ids = append(ids, state.GetId())
		at[state.GetId()] = i
	}
	for _, cycle := range cyclesOf(ids, needs) {
		found(fmt.Sprintf("states[%d].needs_states", at[cycle[0]]), "states wait for each other: %s", strings.Join(cycle, " ← "))
	}
}

// stateNeededAndForbidden finds operations that can never begin.
func stateNeededAndForbidden(c *content, found report) {
	for i, operation := range c.message.GetOperations() {
		for j, forbidden := range operation.GetForbidsStates() {
			if slices.Contains(operation.GetNeedsStates(), forbidden) {
				found(fmt.Sprintf("operations[%d].forbids_states[%d]", i, j), "state %q is also in needs_states", forbidden)
			}
		}
	}
}

// toolLeftOnNotUsed finds tools that stay on without having been put on.
func toolLeftOnNotUsed(c *content, found report) {
	for i, state := range c.message.GetStates() {
		for j, tool := range state.GetToolsLeftOn() {
			if !slices.Contains(state.GetTools(), tool) {
				found(fmt.Sprintf("states[%d].tools_left_on[%d]", i, j), "tool %q is not in the state's tools", tool)
			}
		}
	}
}

// cyclesOf finds cycles of a small graph, at least one in each knot. It walks
// depth-first and reports the path whenever it meets a node that is still on it.
func cyclesOf(ids []string, next func(string) []string) [][]string {
	var cycles [][]string
	var path []string
	finished := map[string]bool{}
	var walk func(id string)
	walk = func(id string) {
		if at := slices.Index(path, id); at >= 0 {
			cycles = append(cycles, append(slices.Clone(path[at:]), id))
			return
		}
		if finished[id] {
			return
		}
		path = append(path, id)
		for _, other := range next(id) {
			walk(other)
		}
		path = path[:len(path)-1]
		finished[id] = true
	}
	for _, id := range ids {
		walk(id)
	}
	return cycles
}
