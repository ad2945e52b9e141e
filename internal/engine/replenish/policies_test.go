package replenish

import (
	"slices"
	"testing"

	"pgregory.net/rapid"
)

func TestPoliciesAgainstSnyderAndShen(t *testing.T) {
	// Example 5.1, normal.
	b := Backordered{FixedCost: 8, Holding: 0.225, Waiting: 7.5}
	cost := ok(NormalRQCost(b, 1300, DuringLead(1300, 150, 1.0/12, 0), 126.8, 328.5))(t)
	near(t, "(126.8, 328.5)", cost, 78.0711625, 1e-6)

	// Example 5.8, Poisson: found by exhaustive search.
	b = Backordered{FixedCost: 100, Holding: 20, Waiting: 150}
	rq := ok(PoissonRQ(b, 1.5, 2))(t)
	if rq.Reorder != 3 || rq.Lot != 5 {
		t.Errorf("(r, Q) = (%d, %d), want (3, 5)", rq.Reorder, rq.Lot)
	}
	near(t, "its cost", rq.Cost, 107.9235806, 1e-6)

	// Example 4.7 with a fixed cost, Poisson: found by exhaustive search.
	b = Backordered{FixedCost: 5, Holding: 1, Waiting: 4}
	ss := ok(PoissonMinMax(b, 6, 6))(t)
	if ss.Reorder != 4 || ss.UpTo != 10 {
		t.Errorf("(s, S) = (%d, %d), want (4, 10)", ss.Reorder, ss.UpTo)
	}
	near(t, "its cost", ss.Cost, 8.0341116, 1e-6)

	// Wagner-Whitin example of the same book.
	lots := ok(WagnerWhitin(500, 2, []float64{90, 120, 80, 70}))(t)
	if !slices.Equal(lots.Orders, []float64{210, 0, 150, 0}) || !slices.Equal(lots.CostFrom, []float64{1380, 940, 640, 500}) {
		t.Errorf("orders %v at %v", lots.Orders, lots.CostFrom)
	}
}

// Small cases against every policy there is.
func TestPoliciesAreTheBest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := Backordered{
			FixedCost: rapid.Float64Range(0.5, 30).Draw(t, "fixed"),
			Holding:   rapid.Float64Range(0.2, 5).Draw(t, "holding"),
			Waiting:   rapid.Float64Range(0.5, 40).Draw(t, "waiting"),
		}
		rate := rapid.Float64Range(0.2, 3).Draw(t, "rate")
		lead := rapid.Float64Range(0, 2).Draw(t, "lead")
		rq, err := PoissonRQ(b, rate, lead)
		if err != nil {
			t.Fatal(err)
		}
		ss, err := PoissonMinMax(b, rate, rate*(lead+1))
		if err != nil {
			t.Fatal(err)
		}
		for reorder := -8; reorder < 12; reorder++ {
			for lot := 1; lot < 20; lot++ {
				if c, _ := PoissonRQCost(b, rate, lead, reorder, lot); c < rq.Cost-1e-9 {
					t.Fatalf("(%d, %d) costs %v, less than %+v", reorder, lot, c, rq)
				}
				if c, _ := PoissonMinMaxCost(b, rate, rate*(lead+1), reorder, reorder+lot); c < ss.Cost-1e-9 {
					t.Fatalf("(%d, %d) costs %v, less than %+v", reorder, reorder+lot, c, ss)
				}
			}
		}
	})
}

func TestWagnerWhitinAgainstEveryPlan(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		fixed := rapid.Float64Range(0, 100).Draw(t, "fixed")
		holding := rapid.Float64Range(0, 5).Draw(t, "holding")
		demands := rapid.SliceOfN(rapid.Float64Range(0, 50), 1, 7).Draw(t, "demands")
		lots, err := WagnerWhitin(fixed, holding, demands)
		if err != nil {
			t.Fatal(err)
		}
		// Every set of order periods that begins with the first one.
		for set := range 1 << (len(demands) - 1) {
			cost, last := fixed, 0
			for i := 1; i < len(demands); i++ {
				if set>>(i-1)&1 == 1 {
					cost, last = cost+fixed, i
				}
				cost += holding * float64(i-last) * demands[i]
			}
			if cost < lots.CostFrom[0]-1e-9 {
				t.Fatalf("a plan costs %v, less than %v", cost, lots.CostFrom[0])
			}
		}
	})
}

func TestLossTables(t *testing.T) {
	for _, mean := range []float64{0.3, 4, 40} {
		poisson := secondOrderOf(mean, mean)
		for x := range int64(60) {
			near(t, "Poisson loss by table", poisson.over(x, 1), PoissonLoss(mean, int(x)+1), 1e-4)
		}
		// Negative binomial: the loss summed over all positions is E D(D-1)/2.
		variance := 3 * mean
		batches := secondOrderOf(mean, variance)
		near(t, "second factorial moment", batches(0), (variance+mean*mean-mean)/2, 1e-2*mean)
	}
	// Where the tables end, the normal ones go on.
	below, above := secondOrderOf(normalFrom-1e-6, 60), secondOrderOf(normalFrom, 60)
	near(t, "on both sides of the limit", below.over(55, 5)/above.over(55, 5), 1, 0.12)
}

func TestReorderForFillIsTheLowest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := Reviewed{
			Mean:     rapid.Float64Range(0.01, 200).Draw(t, "mean"),
			Variance: rapid.Float64Range(0, 2000).Draw(t, "variance"),
			Lead:     rapid.Float64Range(0, 20).Draw(t, "lead"),
		}
		lot := rapid.Int64Range(1, 500).Draw(t, "lot")
		fill := rapid.Float64Range(0.5, 0.999).Draw(t, "fill")
		reorder, err := r.ReorderForFill(lot, fill)
		if err != nil {
			t.Fatal(err)
		}
		short := func(reorder int64) float64 {
			return secondOrderOf(r.Mean*(r.Lead+1), r.Variance*(r.Lead+1)).over(reorder, lot) -
				secondOrderOf(r.Mean*r.Lead, r.Variance*r.Lead).over(reorder, lot)
		}
		if allowed := (1 - fill) * r.Mean; short(reorder) > allowed || reorder > 0 && short(reorder-1) <= allowed {
			t.Fatalf("at %d, %v are short of %v allowed; one lower it is %v", reorder, short(reorder), allowed, short(reorder-1))
		}
	})
}
