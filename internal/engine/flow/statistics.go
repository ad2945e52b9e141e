package flow

import (
	"math"
	"slices"
)

// spreadOf sums up times. Median and P80 are nearest ranks: the smallest time that
// at least half, or four fifths, do not exceed; so each is a time that was taken.
func spreadOf(times []int64) Spread {
	if len(times) == 0 {
		return Spread{}
	}
	sorted := slices.Sorted(slices.Values(times))
	s := Spread{Median: NearestRank(sorted, 50), P80: NearestRank(sorted, 80)}
	for _, t := range sorted {
		s.Total += t
	}
	s.Mean = s.Total / int64(len(sorted))
	return s
}

// NearestRank is the smallest of sorted values that at least so many hundredths of
// them do not exceed; hundredths are 1 to 100, and there is at least one value.
func NearestRank(sorted []int64, hundredths int) int64 {
	rank := (len(sorted)*hundredths + 99) / 100
	return sorted[max(0, rank-1)]
}

// Wilson is the score interval at 95 % for a share of which so many of so many were
// seen (E. B. Wilson, Journal of the American Statistical Association 22, 1927).
func Wilson(seen, of int) (low, high float64) {
	if of == 0 {
		return 0, 1
	}
	const z = 1.959963984540054
	n := float64(of)
	p := float64(seen) / n
	middle := (p + z*z/(2*n)) / (1 + z*z/n)
	half := z / (1 + z*z/n) * math.Sqrt(p*(1-p)/n+z*z/(4*n*n))
	return max(0, middle-half), min(1, middle+half)
}

func mean(values []float64) float64 {
	var sum float64
	for _, v := range values {
		sum += v
	}
	return sum / float64(len(values))
}

// scv is the squared coefficient of variation, with the unbiased variance; 0 of fewer
// than two values, or when all are 0.
func scv(values []float64) float64 {
	if len(values) < 2 {
		return 0
	}
	m, squares := mean(values), 0.0
	if m == 0 {
		return 0
	}
	for _, v := range values {
		squares += (v - m) * (v - m)
	}
	return squares / float64(len(values)-1) / (m * m)
}
