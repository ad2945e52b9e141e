package bench

import (
	"cmp"
	"math"
	"slices"
	"time"
)

// Sample is what some callers got done in some time.
type Sample struct {
	Count   int
	Elapsed time.Duration
	Spent   Spent
	// Latencies of the calls, ascending.
	Latencies []time.Duration
}

// Rate is calls per second.
func (s Sample) Rate() float64 {
	if s.Elapsed <= 0 {
		return 0
	}
	return float64(s.Count) / s.Elapsed.Seconds()
}

// median is of the latencies, in milliseconds.
func (s Sample) median() float64 { return millis(Percentile(s.Latencies, 50)) }

// each is a total shared out among the calls.
func (s Sample) each(total float64) float64 {
	if s.Count == 0 {
		return 0
	}
	return total / float64(s.Count)
}

// Percentile is the nearest rank: the least value that at least p of 100 values
// do not exceed. Values must be ascending; of none it is the zero value.
func Percentile[T cmp.Ordered](ascending []T, p float64) T {
	var none T
	if len(ascending) == 0 {
		return none
	}
	rank := int(math.Ceil(p / 100 * float64(len(ascending))))
	return ascending[min(max(rank, 1), len(ascending))-1]
}

// Median is the middle value, and between two middle ones the lower: a value
// that was really measured.
func Median[T cmp.Ordered](values []T) T {
	return Percentile(slices.Sorted(slices.Values(values)), 50)
}
