package chart

import "math"

// Limits are a chart's centre line and what common causes explain.
type Limits struct{ Low, Centre, High float64 }

// Control is a pair of charts: of means (or single values) and of ranges.
type Control struct {
	Mean, Range Limits
	Sigma       float64 // within groups, from the mean range
	Size        int     // of a group; 2 for single values
}

// Groups charts means and ranges of groups of equal size, 2 to 10. The error
// is a *DataError.
func Groups(groups [][]float64) (Control, error) {
	if len(groups) < 2 {
		return Control{}, wrong("at least two groups are needed, and there are %d", len(groups))
	}
	n := len(groups[0])
	f, ok := table[n]
	if !ok {
		return Control{}, wrong("groups hold 2 to 10 readings, and the first holds %d", n)
	}
	var means, ranges float64
	for i, g := range groups {
		if len(g) != n {
			return Control{}, wrong("group %d holds %d readings and the first %d", i+1, len(g), n)
		}
		low, high, sum := spanOf(g)
		if math.IsNaN(sum) || math.IsInf(sum, 0) {
			return Control{}, wrong("group %d holds a value that is no number", i+1)
		}
		means += sum / float64(n)
		ranges += high - low
	}
	k := float64(len(groups))
	return around(means/k, ranges/k, f.a2, f, n), nil
}

// Singles charts single values with their moving ranges of two: three sigma
// is 2.66 mean ranges.
func Singles(values []float64) (Control, error) {
	if len(values) < 2 {
		return Control{}, wrong("at least two readings are needed, and there are %d", len(values))
	}
	var moving float64
	for i := 1; i < len(values); i++ {
		moving += math.Abs(values[i] - values[i-1])
	}
	_, _, sum := spanOf(values)
	if math.IsNaN(sum) || math.IsInf(sum, 0) {
		return Control{}, wrong("the readings hold a value that is no number")
	}
	f := table[2]
	return around(sum/float64(len(values)), moving/float64(len(values)-1), 3/f.d2, f, 2), nil
}

func around(centre, span, reach float64, f factors, n int) Control {
	return Control{
		Mean:  Limits{centre - reach*span, centre, centre + reach*span},
		Range: Limits{f.lower * span, span, f.upper * span},
		Sigma: span / f.d2, Size: n,
	}
}

func spanOf(values []float64) (low, high, sum float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, v := range values {
		low, high, sum = math.Min(low, v), math.Max(high, v), sum+v
	}
	return low, high, sum
}
