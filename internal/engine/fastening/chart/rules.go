package chart

// Rule is a run rule that common causes rarely break.
type Rule struct {
	name          string
	within, count int     // of so many points in a row, so many …
	beyond        float64 // … lie beyond so many sigma on one side
}

// Rules are the four usual ones; the first that a point breaks is given.
func Rules() []Rule {
	return []Rule{
		{"beyond three sigma", 1, 1, 3},
		{"two of three beyond two sigma", 3, 2, 2},
		{"four of five beyond one sigma", 5, 4, 1},
		{"eight on one side", 8, 8, 0},
	}
}

// String names the rule.
func (r Rule) String() string { return r.name }

// broken tells whether the point at i, itself beyond, completes a run.
func (r Rule) broken(z []float64, i int) bool {
	if i+1 < r.within {
		return false
	}
	from := i + 1 - r.within
	for _, side := range []float64{1, -1} {
		if !(side*z[i] > r.beyond) {
			continue
		}
		n := 0
		for _, v := range z[from : i+1] {
			if side*v > r.beyond {
				n++
			}
		}
		if n >= r.count {
			return true
		}
	}
	return false
}

// Signals gives for each value the number of the lowest rule that it breaks,
// from 1; 0 for none.
func Signals(values []float64, centre, sigma float64) []int {
	z := make([]float64, len(values))
	for i, v := range values {
		z[i] = (v - centre) / sigma
	}
	signals := make([]int, len(values))
	for i := range z {
		for n, r := range Rules() {
			if r.broken(z, i) {
				signals[i] = n + 1
				break
			}
		}
	}
	return signals
}
