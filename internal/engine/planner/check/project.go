package check

import (
	"fmt"

	"ramprow/internal/engine/planner/rcpsp"
)

// Project gives everything that is wrong with a project's schedule: it looks at
// every period by itself. Nil: it is possible.
func Project(p rcpsp.Project, starts []int, makespan int) []Violation {
	if len(starts) != len(p.Durations) {
		return []Violation{{"project", fmt.Sprintf("has %d activities and %d starts", len(p.Durations), len(starts))}}
	}
	var found []Violation
	wrong := func(a int, format string, args ...any) {
		found = append(found, Violation{fmt.Sprintf("activity %d", a), fmt.Sprintf(format, args...)})
	}
	for a, start := range starts {
		if start < 0 || start+p.Durations[a] > makespan {
			wrong(a, "runs from %d to %d, outside 0 to %d", start, start+p.Durations[a], makespan)
		}
		for _, s := range p.Successors[a] {
			if starts[s] < start+p.Durations[a] {
				wrong(s, "starts at %d, before activity %d is done at %d", starts[s], a, start+p.Durations[a])
			}
		}
	}
	for period := range makespan {
		held := make([]int, len(p.Capacities))
		for a, start := range starts {
			if start > period || start+p.Durations[a] <= period {
				continue
			}
			for r, units := range p.Demands[a] {
				if held[r] += units; held[r] > p.Capacities[r] {
					wrong(a, "brings resource %d to %d in period %d, and there are %d", r, held[r], period, p.Capacities[r])
				}
			}
		}
	}
	return found
}
