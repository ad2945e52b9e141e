package bench_test

import (
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	"ramprow/services/ramprow/bench"
)

// The two lists are the usual worked examples of the nearest-rank method; the
// table is from memory, and each value follows by hand from ceil(p/100·n).
func TestPercentile(t *testing.T) {
	five := []int{15, 20, 35, 40, 50}
	ten := []int{3, 6, 7, 8, 8, 10, 13, 15, 16, 20}
	for _, c := range []struct {
		values []int
		p      float64
		want   int
	}{
		{five, 5, 15},
		{five, 30, 20},
		{five, 40, 20},
		{five, 50, 35},
		{five, 100, 50},
		{ten, 25, 7},
		{ten, 50, 8},
		{ten, 75, 15},
		{ten, 100, 20},
		{ten, 0, 3},
		{[]int{7}, 99, 7},
		{nil, 50, 0},
	} {
		if got := bench.Percentile(c.values, c.p); got != c.want {
			t.Errorf("percentile %g of %v is %d, want %d", c.p, c.values, got, c.want)
		}
	}
}

// TestPercentileByDefinition counts instead of computing a rank.
func TestPercentileByDefinition(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		values := rapid.SliceOfN(rapid.IntRange(0, 40), 1, 60).Draw(t, "values")
		slices.Sort(values)
		p := rapid.IntRange(1, 100).Draw(t, "p")
		got := bench.Percentile(values, float64(p))
		atMost := func(limit int) int {
			n := 0
			for _, v := range values {
				if v <= limit {
					n++
				}
			}
			return n * 100
		}
		if !slices.Contains(values, got) || atMost(got) < p*len(values) || atMost(got-1) >= p*len(values) {
			t.Fatalf("percentile %d of %v is %d", p, values, got)
		}
	})
}

func TestMedian(t *testing.T) {
	for _, c := range []struct {
		values []float64
		want   float64
	}{{[]float64{9, 1, 5}, 5}, {[]float64{4, 1, 3, 2}, 2}, {[]float64{6}, 6}, {nil, 0}} {
		if got := bench.Median(c.values); got != c.want {
			t.Errorf("median of %v is %g, want %g", c.values, got, c.want)
		}
	}
}

func TestRate(t *testing.T) {
	if got := (bench.Sample{Count: 30, Elapsed: 1500 * time.Millisecond}).Rate(); got != 20 {
		t.Errorf("30 in 1.5 s are %g a second", got)
	}
	if got := (bench.Sample{}).Rate(); got != 0 {
		t.Errorf("nothing in no time is %g a second", got)
	}
}
