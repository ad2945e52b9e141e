package simulate

import (
	"slices"

	"ramprow/services/ramprow/simulate/invariants"
)

// shrinkTries bounds how many days are lived to find a shorter one.
const shrinkTries = 400

// Shrink leaves out steps of a day as long as the rule that it first broke stays
// broken, and gives the shortest day found. It is the delta debugging of Zeller
// and Hildebrandt (2002): ever smaller pieces of the history are taken away.
func (v Verdict) Shrink() (Verdict, error) {
	shortest := v
	keep := v.Day.Keep
	if keep == nil {
		for step := range v.Day.Steps {
			keep = append(keep, step)
		}
	}
	tries := 0
	for size := (len(keep) + 1) / 2; size >= 1 && tries < shrinkTries; {
		shorter := false
		for from := 0; from < len(keep) && tries < shrinkTries; {
			tries++
			day := v.Day
			day.Keep = without(keep, from, from+size)
			judged, err := day.Judge()
			if err != nil {
				return Verdict{}, err
			}
			if !judged.breaks(v.Violations[0].Rule) {
				from += size
				continue
			}
			keep, shortest, shorter = day.Keep, judged, true
		}
		switch {
		case size > 1:
			size /= 2
		case !shorter:
			size = 0
		}
	}
	return shortest, nil
}

// without leaves out steps [from, to). It is never nil, which would mean all steps.
func without(steps []int, from, to int) []int {
	left := make([]int, 0, len(steps))
	left = append(left, steps[:from]...)
	return append(left, steps[min(to, len(steps)):]...)
}

func (v Verdict) breaks(rule string) bool {
	return slices.ContainsFunc(v.Violations, func(one invariants.Violation) bool { return one.Rule == rule })
}
