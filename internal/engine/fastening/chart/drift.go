package chart

import (
	"math"
	"time"
)

// WrenchCheck is the deviation that a tester found, as a share of the reference.
type WrenchCheck struct {
	At        time.Time
	Deviation float64
}

// Drift is a straight line through the checks of a wrench.
type Drift struct {
	PerYear float64 // deviation gained in a year, as a share
	// Leaves is when the line will leave the permissible deviation; zero if it
	// does not within a century.
	Leaves time.Time
	// Scatter is the standard deviation of the checks about the line; NaN for
	// two checks, which every line fits.
	Scatter float64
}

const year = 365.25 * 24 * float64(time.Hour)

// maxYears keeps dates within what is worth planning for.
const maxYears = 100

// DriftOf fits least squares to at least two checks on different days.
func DriftOf(checks []WrenchCheck, permissible float64) (Drift, error) {
	if len(checks) < 2 {
		return Drift{}, wrong("a drift shows from two checks on, and there are %d", len(checks))
	}
	begin := checks[0].At
	var sx, sy, sxx, sxy float64
	n := float64(len(checks))
	for _, c := range checks {
		x := float64(c.At.Sub(begin)) / year
		sx, sy, sxx, sxy = sx+x, sy+c.Deviation, sxx+x*x, sxy+x*c.Deviation
	}
	spread := sxx - sx*sx/n
	if !(spread > 0) {
		return Drift{}, wrong("all checks were made at the same moment")
	}
	slope := (sxy - sx*sy/n) / spread
	start := (sy - slope*sx) / n
	d := Drift{PerYear: slope, Scatter: math.NaN()}
	if len(checks) > 2 {
		var square float64
		for _, c := range checks {
			r := c.Deviation - start - slope*float64(c.At.Sub(begin))/year
			square += r * r
		}
		d.Scatter = math.Sqrt(square / (n - 2))
	}
	if years := (math.Copysign(permissible, slope) - start) / slope; years > 0 && years < maxYears {
		d.Leaves = begin.Add(time.Duration(years * year))
	}
	return d, nil
}
