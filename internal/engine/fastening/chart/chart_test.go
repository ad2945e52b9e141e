package chart

import (
	"errors"
	"math"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: %v, want %v ± %v", what, got, want, tolerance)
	}
}

// groups, limits and results of a public quality-control library's own tests.
var groups = [][]float64{{10.00, 10.02, 9.98, 10.01}, {10.03, 9.99, 10.01, 10.00}, {9.97, 10.04, 10.02, 9.99}}

func TestCapability(t *testing.T) {
	control, err := Groups(groups)
	if err != nil {
		t.Fatal(err)
	}
	all := slices.Concat(groups...)
	mean, overall := MeanAndSigma(all)
	both := Tolerance{9.9, 10.0, 10.1}
	within, err := CapabilityOf(mean, control.Sigma, len(all), both, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "Cp", within.Spread.Value, 1.372667, 1e-6)
	near(t, "Cp low", within.Spread.Low, 0.808460, 1e-6)
	near(t, "Cp high", within.Spread.High, 1.937713, 1e-6)
	near(t, "Cpl", within.Lower, 1.441300, 1e-6)
	near(t, "Cpu", within.Upper, 1.304033, 1e-6)
	near(t, "Cpk", within.Worst.Value, 1.304033, 1e-6)
	near(t, "Cpk low", within.Worst.Low, 0.727408, 1e-6)
	near(t, "Cpk high", within.Worst.High, 1.880659, 1e-6)
	near(t, "Cpm", within.Target, 1.344463, 1e-6)
	total, err := CapabilityOf(mean, overall, len(all), both, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "Pp", total.Spread.Value, 1.612598, 1e-6)
	near(t, "Pp low", total.Spread.Low, 0.949773, 1e-6)
	near(t, "Pp high", total.Spread.High, 2.276410, 1e-6)
	near(t, "Ppk", total.Worst.Value, 1.531968, 1e-6)
	near(t, "Ppk low", total.Worst.Low, 0.864608, 1e-6)
	near(t, "Ppk high", total.Worst.High, 2.199329, 1e-6)
	near(t, "Ppm", total.Target, 1.567395, 1e-6)
	shifted, err := CapabilityOf(mean, control.Sigma, len(all), Tolerance{9.9, 10.02, 10.1}, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "Cpm at 10.02", shifted.Target, 1.167834, 1e-6)
	upper, err := CapabilityOf(mean, control.Sigma, len(all), Tolerance{math.Inf(-1), 10, 10.1}, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "Cpk of an upper limit", upper.Worst.Value, 1.304033, 1e-6)
	if !math.IsNaN(upper.Spread.Value) {
		t.Errorf("Cp of one limit is %v", upper.Spread.Value)
	}
}

// TestCapabilityOfDistributions: a metrology library's tests, and the
// NIST/SEMATECH handbook's example (from memory, arithmetic checked).
func TestCapabilityOfDistributions(t *testing.T) {
	for _, c := range []struct{ mean, sigma, low, high, cp, cpk float64 }{
		{10, 0.4, 9, 11, 0.833333, 0.833333},
		{10.5, 0.4, 9, 11, 0.833333, 0.416667},
		{12, 0.4, 9, 11, 0.833333, -0.833333},
		{16, 2, 8, 20, 1, 0.6667},
		// Piston-ring data, first 25 groups of five, by mean and sigma.
		{74.00118, 0.009785039, 73.95, 74.05, 1.70328, 1.66322},
	} {
		got, err := CapabilityOf(c.mean, c.sigma, 50, Tolerance{c.low, c.mean, c.high}, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "Cp", got.Spread.Value, c.cp, 1e-4)
		// The rings' mean is printed to five places, which costs 1.4e-4 here.
		near(t, "Cpk", got.Worst.Value, c.cpk, 2e-4)
	}
}

func TestCapabilityRefuses(t *testing.T) {
	for _, c := range []struct {
		name        string
		mean, sigma float64
		n           int
		t           Tolerance
		confidence  float64
	}{
		{"one reading", 10, 1, 1, Tolerance{9, 10, 11}, 0.95},
		{"no scatter", 10, 0, 5, Tolerance{9, 10, 11}, 0.95},
		{"not a number", math.NaN(), 1, 5, Tolerance{9, 10, 11}, 0.95},
		{"no limits", 10, 1, 5, Tolerance{math.Inf(-1), 10, math.Inf(1)}, 0.95},
		{"limits turned round", 10, 1, 5, Tolerance{11, 10, 9}, 0.95},
		{"certainty", 10, 1, 5, Tolerance{9, 10, 11}, 1},
	} {
		_, err := CapabilityOf(c.mean, c.sigma, c.n, c.t, c.confidence)
		if _, ok := errors.AsType[*DataError](err); !ok {
			t.Errorf("%s: %v, want a DataError", c.name, err)
		}
	}
}

// TestConstants: every printed factor against the relations between them,
// which hold to the last printed digit.
func TestConstants(t *testing.T) {
	for n, f := range table {
		near(t, "A2", f.a2, 3/(f.d2*math.Sqrt(float64(n))), 0.0011)
		near(t, "D4", f.upper, 1+3*f.d3/f.d2, 0.0025)
		near(t, "D3", f.lower, math.Max(0, 1-3*f.d3/f.d2), 0.0025)
	}
}

// TestPistonRings: limits of means and ranges from the published mean and mean
// range (groups of five, A2 = 0.577, D4 = 2.114).
func TestPistonRings(t *testing.T) {
	c := around(74.00118, 0.02276, table[5].a2, table[5], 5)
	near(t, "sigma", c.Sigma, 0.009785039, 1e-9)
	near(t, "low", c.Mean.Low, 73.988043, 1e-5)
	near(t, "high", c.Mean.High, 74.014309, 1e-5)
	near(t, "range", c.Range.High, 0.048115, 1e-6)
}

// TestRules: a public quality-control library's tests; the lowest rule wins.
func TestRules(t *testing.T) {
	repeat := func(v float64, n int) []float64 { return slices.Repeat([]float64{v}, n) }
	for _, c := range []struct {
		name   string
		values []float64
		want   []int
	}{
		// The last point breaks no rule 1, but it is the second of three beyond two sigma.
		{"beyond three sigma", []float64{0, 3.2, -3.5, 2.9}, []int{0, 1, 1, 2}},
		{"two of three", []float64{0, 2.5, 1.0, 2.6, 0}, []int{0, 0, 0, 2, 0}},
		{"four of five", []float64{0, 1.2, 1.3, 0.2, 1.4, 1.5}, []int{0, 0, 0, 0, 0, 3}},
		{"eight on one side", append(repeat(-0.9, 8), 1), []int{0, 0, 0, 0, 0, 0, 0, 4, 0}},
		{"several at once", append(repeat(2.5, 7), 3.2), []int{0, 0, 2, 2, 2, 2, 2, 1}},
	} {
		if got := Signals(c.values, 0, 1); !slices.Equal(got, c.want) {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
}

func TestSingles(t *testing.T) {
	c, err := Singles([]float64{10, 12, 11, 13})
	if err != nil {
		t.Fatal(err)
	}
	// Mean 11.5, mean moving range 5/3: 2.66 ranges each way (computed).
	near(t, "high", c.Mean.High, 11.5+2.66*5.0/3, 0.002)
	near(t, "range", c.Range.High, 3.267*5/3, 1e-9)
	if _, err := Singles([]float64{1}); err == nil {
		t.Error("one value was charted")
	}
	if _, err := Groups([][]float64{{1, 2}, {1}}); err == nil {
		t.Error("unequal groups were charted")
	}
	if _, err := Groups([][]float64{{1, math.NaN()}, {1, 2}}); err == nil {
		t.Error("NaN was charted")
	}
}

// TestChiSquared: usual table values.
func TestChiSquared(t *testing.T) {
	for _, c := range []struct{ p, free, want float64 }{
		{0.95, 1, 3.8415}, {0.05, 10, 3.9403}, {0.975, 11, 21.9200}, {0.025, 11, 3.8157}, {0.99, 100, 135.8067},
	} {
		near(t, "chi-squared", chiSquaredQuantile(c.p, c.free), c.want, 5e-5)
	}
}

// TestDriftFindsTheDay: a wrench that drifts on a straight line leaves its
// tolerance on a known day.
func TestDriftFindsTheDay(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		begin := time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC)
		start := rapid.Float64Range(-0.03, 0.03).Draw(t, "start")
		slope := rapid.Float64Range(0.002, 0.05).Draw(t, "slope") * rapid.SampledFrom([]float64{1, -1}).Draw(t, "sign")
		var checks []WrenchCheck
		for i := range rapid.IntRange(2, 12).Draw(t, "checks") {
			at := begin.AddDate(0, i, 0)
			checks = append(checks, WrenchCheck{At: at, Deviation: start + slope*float64(at.Sub(begin))/year})
		}
		d, err := DriftOf(checks, 0.04)
		if err != nil {
			t.Fatal(err)
		}
		years := (math.Copysign(0.04, slope) - start) / slope
		want := begin.Add(time.Duration(years * year))
		if math.Abs(d.PerYear-slope) > 1e-9 || d.Leaves.Sub(want).Abs() > time.Hour {
			t.Fatalf("drift %+v, want %v a year and %v", d, slope, want)
		}
	})
}

func TestDriftRefuses(t *testing.T) {
	now := time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC)
	for _, checks := range [][]WrenchCheck{nil, {{At: now}}, {{At: now}, {At: now}}} {
		if _, err := DriftOf(checks, 0.04); err == nil {
			t.Errorf("%d checks gave a drift", len(checks))
		}
	}
	steady, err := DriftOf([]WrenchCheck{{At: now}, {At: now.AddDate(0, 1, 0)}}, 0.04)
	if err != nil || !steady.Leaves.IsZero() {
		t.Errorf("a steady wrench leaves on %v (%v)", steady.Leaves, err)
	}
}
