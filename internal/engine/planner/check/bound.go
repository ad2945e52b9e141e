package check

import "ramprow/internal/engine/planner/rcpsp"

// LongestPath is the length of a project's longest chain of activities, which no
// schedule undercuts: starts are pushed until nothing moves.
func LongestPath(p rcpsp.Project) int {
	starts, longest := make([]int, len(p.Durations)), 0
	for round := 0; round <= len(starts); round++ { // one more would mean a circle
		moved := false
		for a, list := range p.Successors {
			longest = max(longest, starts[a]+p.Durations[a])
			for _, s := range list {
				if earliest := starts[a] + p.Durations[a]; starts[s] < earliest {
					starts[s], moved = earliest, true
				}
			}
		}
		if !moved {
			break
		}
	}
	return longest
}

// Work is the bound that the busiest resource sets: its work over its units.
func Work(p rcpsp.Project) int {
	bound := 0
	for r, units := range p.Capacities {
		sum := 0
		for a, demand := range p.Demands {
			sum += demand[r] * p.Durations[a]
		}
		if units > 0 {
			bound = max(bound, (sum+units-1)/units)
		}
	}
	return bound
}
