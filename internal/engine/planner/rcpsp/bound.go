package rcpsp

// bound is the better of two: the longest path, and the work on the busiest
// resource over its units.
func bound(p Project, w *network) int32 {
	best := w.critical()
	for r, units := range p.Capacities {
		var work int64
		for a, demand := range p.Demands {
			work += int64(demand[r]) * int64(p.Durations[a])
		}
		if units > 0 {
			// The sum of all durations bounds it: no demand is above the units.
			best = max(best, int32((work+int64(units)-1)/int64(units))) //nolint:gosec // as said
		}
	}
	return best
}
