package replenish

import (
	"math/big"
	"testing"

	"pgregory.net/rapid"
)

// Published examples of the moving weighted average, in hundredths. The figures
// that their pages give are in want; a page that rounds the unit cost before it
// multiplies is allowed the difference.
func TestMovingAverage(t *testing.T) {
	type step struct {
		receive, take int64
		unit          int64 // cost of one received
		cost, left    int64 // of what was taken, and the value afterwards; 0: the page does not say
	}
	for _, c := range []struct {
		name, source string
		steps        []step
		off          int64 // by which the page may differ
	}{
		{"WCS12", "homeworksource.com, question 1123599", []step{
			{receive: 300, unit: 800},
			{take: 175, left: 125 * 800},
			{receive: 375, unit: 1000, left: 500 * 950},
			{take: 280, cost: 266_000, left: 209_000},
		}, 0},
		{"two purchases", "analystforum.com, thread 121754", []step{
			{receive: 2, unit: 200},
			{receive: 3, unit: 300, left: 5 * 260},
			{take: 4, cost: 1040, left: 260},
			{receive: 5, unit: 500, left: 2760},
		}, 0},
		{"average cost, perpetual", "instantcertcredit.com, lesson 318; its unit cost of 2.77 is rounded from 2.7666", []step{
			{receive: 500, unit: 240, left: 120_000},
			{take: 300, cost: 72_000, left: 48_000},
			{receive: 100, unit: 350, left: 83_000},
			{take: 250, cost: 69_250, left: 13_850},
			{receive: 300, unit: 400, left: 133_850},
		}, 90},
		{"January", "quizlet.com, set 634164174: 53,602 to the nearest unit", []step{
			{receive: 9200, unit: 971},
			{receive: 6300, unit: 1023, left: 15_378_100},
			{take: 7400},
			{receive: 8200, unit: 1069},
			{take: 11_100, left: 5_360_200},
		}, 50},
	} {
		t.Run(c.name, func(t *testing.T) {
			w := Worth{}
			for i, s := range c.steps {
				cost := int64(0)
				if s.receive > 0 {
					w = w.Receive(s.receive, s.receive*s.unit)
				} else {
					w, cost = w.Take(s.take)
				}
				if s.cost != 0 && abs(cost-s.cost) > c.off || s.left != 0 && abs(w.Value-s.left) > c.off {
					t.Errorf("step %d: %d taken along and %d left, want %d and %d (%s)", i+1, cost, w.Value, s.cost, s.left, c.source)
				}
			}
		})
	}
}

func abs(n int64) int64 { return max(n, -n) }

// The average that counts while nothing is there is the last one.
func TestAverageOfAnEmptyShelf(t *testing.T) {
	w := Worth{}
	if _, known := w.AtAverage(1); known {
		t.Error("nothing was ever there, and yet it has an average")
	}
	w, _ = w.Receive(3, 100).Take(3)
	if cost, known := w.AtAverage(3); !known || cost != 100 || w.Value != 0 || w.Quantity != 0 {
		t.Errorf("three cost %d (%v), want 100; %+v", cost, known, w)
	}
	if w = w.Receive(2, 70).Correct(-10); w.Value != 60 {
		t.Errorf("70 less 10 are %d", w.Value)
	}
}

// Whatever comes and goes, the value is what came in less what went along; it is
// never below nothing, and nothing is worth nothing. Against exact fractions the
// value is off by at most half a unit for each time something went.
func TestMovingAverageIsExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w, in, out, times := Worth{}, int64(0), int64(0), int64(0)
		exact := new(big.Rat)
		for range rapid.IntRange(1, 40).Draw(t, "steps") {
			if w.Quantity == 0 || rapid.Bool().Draw(t, "in") {
				quantity, cost := rapid.Int64Range(1, 1_000_000).Draw(t, "quantity"), rapid.Int64Range(0, 1_000_000_000).Draw(t, "cost")
				w = w.Receive(quantity, cost)
				in += cost
				exact.Add(exact, big.NewRat(cost, 1))
				continue
			}
			quantity := rapid.Int64Range(1, w.Quantity).Draw(t, "out")
			left := big.NewRat(w.Quantity-quantity, w.Quantity)
			exact.Mul(exact, left)
			var cost int64
			w, cost = w.Take(quantity)
			out += cost
			times++
		}
		if w.Value != in-out || w.Value < 0 || w.Quantity == 0 && w.Value != 0 {
			t.Fatalf("%+v: %d came in and %d went", w, in, out)
		}
		off := new(big.Rat).Sub(exact, big.NewRat(w.Value, 1))
		if off.Abs(off).Cmp(big.NewRat(times, 2)) > 0 {
			t.Fatalf("%d is off by %s after %d", w.Value, off.FloatString(3), times)
		}
	})
}

func TestShareOf(t *testing.T) {
	for _, c := range []struct{ amount, part, whole, want int64 }{
		{100, 1, 3, 33},
		{100, 2, 3, 67},
		{1, 1, 2, 1},
		{0, 5, 7, 0},
		{5, 7, 7, 5},
		{MaxValue, MaxQuantity, MaxQuantity, MaxValue},
		{MaxValue, 2, 1, MaxValue},
		{MaxValue, MaxQuantity - 1, MaxQuantity, MaxValue - 1_000_000},
	} {
		if got := ShareOf(c.amount, c.part, c.whole); got != c.want {
			t.Errorf("%d·%d/%d is %d, want %d", c.amount, c.part, c.whole, got, c.want)
		}
	}
}
