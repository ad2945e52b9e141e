package flow

import (
	"math"
	"testing"
)

func close(a, b, tolerance float64) bool { return math.Abs(a-b) <= tolerance*max(1, math.Abs(b)) }

// Bronson, Operations Research, problems 23.3 and 24.6; the county hospital of Hillier and Lieberman (from memory); the
// others were computed independently. Tolerances are half a unit of the last printed digit.
func TestMMC(t *testing.T) {
	tests := map[string]struct {
		arrivals, services float64
		servers            int
		want               Queue
		tolerance          float64
	}{
		"Bronson 23.3": {24, 30, 1, Queue{Utilisation: .8, Waits: .8, Empty: .2, Queued: 3.2, Present: 4, Wait: 4.0 / 30, Stay: 1.0 / 6}, 1e-9},
		"30 an hour, 1.5 minutes": {
			30, 40, 1, Queue{Utilisation: .75, Waits: .75, Empty: .25, Queued: 2.25, Present: 3, Wait: 4.5 / 60, Stay: 6.0 / 60}, 1e-9,
		},
		"Bronson 24.6": {
			300, 182.5, 3,
			Queue{Utilisation: 300 / (3 * 182.5), Waits: ErlangC(3, 300/182.5), Empty: .177537, Queued: .352426, Present: 1.996262, Wait: .001175, Stay: .006654},
			5e-7,
		},
		"hospital, one":  {2, 3, 1, Queue{Utilisation: 2.0 / 3, Waits: 2.0 / 3, Empty: 1.0 / 3, Queued: 4.0 / 3, Present: 2, Wait: 2.0 / 3, Stay: 1}, 1e-9},
		"hospital, two":  {2, 3, 2, Queue{Utilisation: 1.0 / 3, Waits: 1.0 / 6, Empty: .5, Queued: 1.0 / 12, Present: .75, Wait: 1.0 / 24, Stay: 3.0 / 8}, 1e-9},
		"five and ten":   {5, 10, 2, Queue{Utilisation: .25, Waits: .1, Empty: .6, Queued: 1.0 / 30, Present: .5 + 1.0/30, Wait: 1.0 / 150, Stay: .1 + 1.0/150}, 1e-9},
		"more than fits": {30, 10, 2, Queue{Utilisation: 1.5, Waits: 1, Queued: math.Inf(1), Present: math.Inf(1), Wait: math.Inf(1), Stay: math.Inf(1)}, 1e-9},
	}
	for name, c := range tests {
		got := MMC(c.arrivals, c.services, c.servers)
		for what, pair := range map[string][2]float64{
			"utilisation": {got.Utilisation, c.want.Utilisation}, "share that waits": {got.Waits, c.want.Waits}, "p0": {got.Empty, c.want.Empty},
			"Lq": {got.Queued, c.want.Queued}, "L": {got.Present, c.want.Present}, "Wq": {got.Wait, c.want.Wait}, "W": {got.Stay, c.want.Stay},
		} {
			if pair[0] != pair[1] && !close(pair[0], pair[1], c.tolerance) {
				t.Errorf("%s: %s is %.9f, want %.9f", name, what, pair[0], pair[1])
			}
		}
	}
}

// The grid was computed independently; C(3, 2), C(2, 1) and C(10, 6) are published.
func TestErlangC(t *testing.T) {
	loads := []float64{.5, .7, .8, .9, .95}
	grid := [][]float64{
		{.5, .7, .8, .9, .95},
		{.333333, .576471, .711111, .852632, .925641},
		{.236842, .492344, .647191, .817061, .907009},
		{.173913, .428654, .596432, .787753, .891419},
		{.130371, .377838, .554113, .762493, .877799},
		{.099143, .335978, .517772, .740126, .865589},
	}
	for i, row := range grid {
		for j, want := range row {
			if got := ErlangC(i+1, float64(i+1)*loads[j]); !close(got, want, 6e-7) {
				t.Errorf("C(%d, %g): %.7f, want %.6f", i+1, float64(i+1)*loads[j], got, want)
			}
		}
	}
	for _, c := range []struct {
		servers    int
		load, want float64
	}{{3, 2, 4.0 / 9}, {2, 1, 1.0 / 3}, {10, 6, .1012992}} {
		if got := ErlangC(c.servers, c.load); !close(got, c.want, 6e-8) {
			t.Errorf("C(%d, %g): %.8f, want %.8f", c.servers, c.load, got, c.want)
		}
	}
}

// Computed independently; the queue at 95 % against 85 % is published (symplprocess.com: it falls by 70 %).
func TestApproximations(t *testing.T) {
	tests := []struct {
		name      string
		got, want float64
	}{
		{"M/M/1 by Kingman", Kingman(1, 1, 10, .9), 90},
		{"Kingman", Kingman(1, .5, 3, .85), 12.75},
		{"M/D/1", Kingman(1, 0, 1, .8), 2},
		{"M/D/1 by Pollaczek and Khinchine", PollaczekKhinchine(.8, 1, 0), 2},
		{"M/G/1", PollaczekKhinchine(.5, 1.5, .36), 3.06},
		{"u/(1-u) at .95", Kingman(1, 1, 1, .95), 19},
		{"u/(1-u) at .85", Kingman(1, 1, 1, .85), .85 / .15},
		{"G/G/2", Sakasegawa(1, 1, 1, 2, .9), 4.291855},
		{"G/G/3", Sakasegawa(1, 1, 1, 3, .8), 1.108296},
		{"G/G/5", Sakasegawa(1, 1, 1, 5, .9), 1.542691},
	}
	for _, c := range tests {
		if !close(c.got, c.want, 5e-7) {
			t.Errorf("%s: %.7f, want %.7f", c.name, c.got, c.want)
		}
	}
	// Against Erlang C it is off by 2.8 % at most where the table looks.
	for _, c := range []struct {
		servers int
		u       float64
	}{{2, .9}, {3, .8}, {5, .9}} {
		exact := MMC(c.u*float64(c.servers), 1, c.servers).Wait
		if off := math.Abs(Sakasegawa(1, 1, 1, c.servers, c.u)/exact - 1); off > .028 {
			t.Errorf("M/M/%d at %g: off by %.3f", c.servers, c.u, off)
		}
	}
	for _, wait := range []float64{PollaczekKhinchine(1, 1, 1), Kingman(1, 1, 1, 1)} {
		if !math.IsInf(wait, 1) {
			t.Errorf("a queue that is full waits %g", wait)
		}
	}
}

// R. G. Newcombe, Statistics in Medicine 17 (1998), table I, method 3; from memory.
func TestWilson(t *testing.T) {
	for _, c := range []struct {
		seen, of  int
		low, high float64
	}{{81, 263, .2553, .3662}, {15, 148, .0624, .1605}, {0, 20, 0, .1611}, {1, 29, .0061, .1718}, {0, 0, 0, 1}} {
		if low, high := Wilson(c.seen, c.of); math.Abs(low-c.low) > 6e-5 || math.Abs(high-c.high) > 6e-5 {
			t.Errorf("%d of %d: %.4f to %.4f, want %.4f to %.4f", c.seen, c.of, low, high, c.low, c.high)
		}
	}
}

// The usual worked example of the method: 15, 20, 35, 40, 50; from memory.
func TestNearestRank(t *testing.T) {
	for hundredths, want := range map[int]int64{5: 15, 20: 15, 30: 20, 40: 20, 50: 35, 80: 40, 81: 50, 100: 50} {
		if got := NearestRank([]int64{15, 20, 35, 40, 50}, hundredths); got != want {
			t.Errorf("P%d: %d, want %d", hundredths, got, want)
		}
	}
}
