package replenish

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// coverByHand enumerates which of the needs come true.
func coverByHand(needs []Need, probability float64) int64 {
	best := int64(math.MaxInt64)
	for _, candidate := range outcomes(needs) {
		within := 0.0
		for _, o := range outcomes(needs) {
			if o.sum <= candidate.sum {
				within += o.p
			}
		}
		if within >= probability-1e-9 {
			best = min(best, candidate.sum)
		}
	}
	return best
}

type outcome struct {
	sum int64
	p   float64
}

func outcomes(needs []Need) []outcome {
	all := []outcome{{0, 1}}
	for _, n := range needs {
		var next []outcome
		for _, o := range all {
			next = append(next, outcome{o.sum, o.p * (1 - n.Probability)}, outcome{o.sum + n.Quantity, o.p * n.Probability})
		}
		all = next
	}
	return all
}

func TestCoverIsWhatEnumerationSays(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var needs []Need
		for range rapid.IntRange(1, 7).Draw(t, "jobs") {
			needs = append(needs, Need{
				Quantity: rapid.Int64Range(1, 5).Draw(t, "quantity"), Probability: float64(rapid.IntRange(1, 10).Draw(t, "tenths")) / 10,
			})
		}
		probability := float64(rapid.IntRange(1, 19).Draw(t, "twentieths"))/20 + 0.001
		got, err := Cover(needs, probability)
		if want := coverByHand(needs, probability); err != nil || got.Quantity != want {
			t.Fatalf("%v at %v: %d, %v; every outcome says %d", needs, probability, got.Quantity, err, want)
		}
	})
}

// Ten jobs that need one piece each with 0.3 are binomial: P(D <= 5) = 0.9527 and
// P(D <= 4) = 0.8497 by the usual table of the binomial distribution, n = 10, p = 0.3.
func TestCoverOfAlikeJobsIsBinomial(t *testing.T) {
	needs := make([]Need, 10)
	for i := range needs {
		needs[i] = Need{Quantity: 1, Probability: 0.3}
	}
	for _, tt := range []struct {
		probability float64
		want        int64
	}{{0.95, 5}, {0.9528, 6}, {0.8497, 4}, {0.85, 5}} {
		if got, err := Cover(needs, tt.probability); err != nil || got.Quantity != tt.want {
			t.Errorf("%v: %v, %v; want %d", tt.probability, got, err, tt.want)
		}
	}
	got, err := Cover([]Need{{Quantity: 2, Probability: 1}, {Quantity: 1, Probability: 0.5}}, 0.6)
	if want := "jobs need 2 for sure and at most 3 in all; 3 covers them with 60% (1 may not need theirs)"; err != nil || got.Reason != want || !got.Urgent {
		t.Errorf("%+v, %v", got, err)
	}
	if got, err := Cover(nil, 0.9); err != nil || got.Quantity != 0 || got.Reason != "" {
		t.Errorf("of nothing: %+v, %v", got, err)
	}
}

func TestManyNeedsAreCoveredNearlyExactly(t *testing.T) {
	needs := make([]Need, 300)
	mean, variance := 0.0, 0.0
	for i := range needs {
		q := int64(1 + i*i%97)
		needs[i] = Need{Quantity: q, Probability: 0.5}
		mean += float64(q) / 2
		variance += float64(q*q) / 4
	}
	got, err := Cover(needs, 0.95)
	if want := mean + 1.644854*math.Sqrt(variance); err != nil || math.Abs(float64(got.Quantity)-want) > 0.01*want {
		t.Errorf("%d, %v; the normal approximation gives %.0f", got.Quantity, err, want)
	}
}

func TestDependentDemand(t *testing.T) {
	got, err := DependentDemand([]Need{{Quantity: 2, Probability: 0.5}, {Quantity: 1, Probability: 1}, {Quantity: 4, Probability: 0.25, Period: 1}, {Quantity: 9, Probability: 1, Period: 7}}, 2)
	if err != nil || got.Mean[0] != 2 || got.Variance[0] != 1 || got.Mean[1] != 1 || got.Variance[1] != 3 {
		t.Errorf("%v, %v", got, err)
	}
	for _, bad := range [][]Need{{{Quantity: 0, Probability: 1}}, {{Quantity: 1, Probability: 1.1}}, {{Quantity: 1, Probability: math.NaN()}}, {{Quantity: 1, Probability: 1, Period: -1}}} {
		if _, err := DependentDemand(bad, 2); err == nil {
			t.Errorf("%v is taken", bad)
		}
		if _, err := Cover(bad, 0.9); err == nil {
			t.Errorf("%v is covered", bad)
		}
	}
}

// A supplier who was late by 0, 0, 0, 1 and 6 days is there by the next day in
// four of five cases: that is its P80.
func TestArrivalDay(t *testing.T) {
	late := []int{0, 6, 0, 1, 0}
	for _, tt := range []struct {
		name     string
		arrivals []Arrival
		quantity int64
		p        float64
		day      int
		known    bool
	}{
		{"taken at its word", []Arrival{{Quantity: 5, Day: 3}}, 5, 0.8, 3, true},
		{"P80 of one", []Arrival{{Quantity: 5, Day: 3, Lateness: late}}, 5, 0.8, 4, true},
		{"P60 of one", []Arrival{{Quantity: 5, Day: 3, Lateness: late}}, 5, 0.6, 3, true},
		{"P90 of one", []Arrival{{Quantity: 5, Day: 3, Lateness: late}}, 5, 0.9, 9, true},
		{"both are needed", []Arrival{{Quantity: 3, Day: 3, Lateness: late}, {Quantity: 3, Day: 3, Lateness: late}}, 6, 0.64, 4, true},
		{"both are needed for sure enough", []Arrival{{Quantity: 3, Day: 3, Lateness: late}, {Quantity: 3, Day: 3, Lateness: late}}, 6, 0.8, 9, true},
		{"either will do", []Arrival{{Quantity: 3, Day: 3, Lateness: late}, {Quantity: 3, Day: 3, Lateness: late}}, 3, 0.84, 3, true},
		{"not so much is on order", []Arrival{{Quantity: 3, Day: 3}}, 4, 0.8, 0, false},
		{"early counts", []Arrival{{Quantity: 3, Day: 3, Lateness: []int{-2}}}, 3, 0.8, 1, true},
	} {
		day, known, err := ArrivalDay(tt.arrivals, tt.quantity, tt.p)
		if err != nil || day != tt.day || known != tt.known {
			t.Errorf("%s: day %d, %v, %v; want %d, %v", tt.name, day, known, err, tt.day, tt.known)
		}
	}
	for _, bad := range []struct {
		arrivals []Arrival
		quantity int64
		p        float64
	}{{nil, 0, 0.8}, {[]Arrival{{Quantity: 0}}, 1, 0.8}, {nil, 1, 1}, {make([]Arrival, mostArrivals+1), 1, 0.8}} {
		if _, _, err := ArrivalDay(bad.arrivals, bad.quantity, bad.p); err == nil {
			t.Errorf("%v is taken", bad)
		}
	}
}

// basketOf draws terms and wishes.
func basketOf(t *rapid.T, most int) ([]Supplier, []Wish) {
	names := []string{"east", "north", "west"}
	var suppliers []Supplier
	for _, n := range names {
		suppliers = append(suppliers, Supplier{
			Name: n, Minimum: float64(rapid.IntRange(0, 30).Draw(t, "minimum")), Carriage: float64(rapid.IntRange(0, 20).Draw(t, "carriage")),
			CarriageFree: float64(rapid.IntRange(0, 80).Draw(t, "free from")),
		})
	}
	var wishes []Wish
	for range rapid.IntRange(1, most).Draw(t, "wishes") {
		w := Wish{Quantity: rapid.Int64Range(1, 9).Draw(t, "quantity")}
		for _, n := range names {
			w.Offers = append(w.Offers, Offer{Supplier: n, Price: float64(rapid.IntRange(1, 12).Draw(t, "price")), Pack: rapid.Int64Range(0, 4).Draw(t, "pack")})
		}
		wishes = append(wishes, w)
	}
	return suppliers, wishes
}

// Few choices are all looked at. The moves alone are never better than that.
func TestConsolidateFindsTheBestOfFew(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		suppliers, wishes := basketOf(t, 6)
		c, err := newChooser(suppliers, wishes)
		if err != nil {
			t.Fatal(err)
		}
		exact, near := c.cost(c.every()), c.cost(c.improve())
		if near < exact {
			t.Fatalf("the moves find %v, every choice %v", near, exact)
		}
		b, possible, err := Consolidate(suppliers, wishes)
		if err != nil || possible != !math.IsInf(exact, 1) || possible && math.Abs(b.Cost()-exact) > 1e-9 {
			t.Fatalf("%+v, %v, %v; every choice gives %v", b, possible, err, exact)
		}
	})
}

// How much dearer the moves alone are than the best of every choice: seeded, 3
// suppliers, 6 parts, without minimums. The bound was measured here.
func TestMovesComeCloseToEveryChoice(t *testing.T) {
	random := rand.New(rand.NewPCG(6, 6))
	const cases = 500
	sum, worst, same := 0.0, 0.0, 0
	for range cases {
		var suppliers []Supplier
		var wishes []Wish
		for _, n := range []string{"east", "north", "west"} {
			suppliers = append(suppliers, Supplier{Name: n, Carriage: float64(random.IntN(20)), CarriageFree: float64(random.IntN(300))})
		}
		for range 6 {
			w := Wish{Quantity: 1 + random.Int64N(9)}
			for _, s := range suppliers {
				w.Offers = append(w.Offers, Offer{Supplier: s.Name, Price: float64(2 + random.IntN(10)), Pack: random.Int64N(4)})
			}
			wishes = append(wishes, w)
		}
		c, err := newChooser(suppliers, wishes)
		if err != nil {
			t.Fatal(err)
		}
		gap := c.cost(c.improve())/c.cost(c.every()) - 1
		if gap < 1e-12 {
			same++
		}
		sum, worst = sum+gap, max(worst, gap)
	}
	t.Logf("the best in %d of %d cases; on average %.2f%% dearer, at worst %.1f%%", same, cases, 100*sum/cases, 100*worst)
	if sum/cases > 0.01 {
		t.Errorf("the moves are %.2f%% dearer on average", 100*sum/cases)
	}
}

func TestConsolidateExplainsItself(t *testing.T) {
	suppliers := []Supplier{{Name: "north", Carriage: 9, CarriageFree: 50}, {Name: "west", Carriage: 9}}
	wishes := []Wish{
		{Part: "PUMP", Quantity: 1, Offers: []Offer{{Supplier: "north", Price: 48}, {Supplier: "west", Price: 60}}},
		{Part: "SEAL", Quantity: 3, Offers: []Offer{{Supplier: "north", Price: 1.2}, {Supplier: "west", Price: 1}}},
	}
	b, possible, err := Consolidate(suppliers, wishes)
	if err != nil || !possible || math.Abs(b.Cost()-51.6) > 1e-9 || b.Carriage != 0 {
		t.Fatalf("%+v, %v, %v", b, possible, err)
	}
	for i, want := range []string{"north is cheapest for it at 48.00", "0.60 dearer at north, whose order comes free of carriage with it"} {
		if b.Lines[i].Reason != want {
			t.Errorf("%s: %s", b.Lines[i].Part, b.Lines[i].Reason)
		}
	}
	suppliers[0].Minimum, suppliers[1].Minimum = 1000, 1000
	if _, possible, err := Consolidate(suppliers, wishes); err != nil || possible {
		t.Errorf("below every minimum: %v, %v", possible, err)
	}
	if _, _, err := Consolidate(suppliers, []Wish{{Quantity: 1}}); err == nil {
		t.Error("a wish that nobody offers is taken")
	}
	if b, possible, err := Consolidate(nil, nil); err != nil || !possible || len(b.Lines) > 0 {
		t.Errorf("of nothing: %+v", b)
	}
}

func TestDeadStock(t *testing.T) {
	for _, tt := range []struct {
		name string
		l    Lying
		want int64
		why  string
	}{
		{"nobody takes it", Lying{OnHand: 7, Periods: 52, UnitValue: 2.5}, 7, "none was taken in 52 periods, 7 lie free"},
		{"held is not dead", Lying{OnHand: 7, Held: 7, Periods: 52}, 0, ""},
		{"half a year says enough, less does not", Lying{OnHand: 7, Periods: 25}, 0, ""},
		{"a slow mover", Lying{OnHand: 100, Taken: 26, Periods: 52}, 74, "0.5 a period are taken, so 74 of the 100"},
		{"it goes", Lying{OnHand: 10, Taken: 52, Periods: 52}, 0, ""},
	} {
		got, err := DeadStock(tt.l, 52)
		if err != nil || got.Quantity != tt.want || !strings.HasPrefix(got.Reason, tt.why) || got.Value != float64(tt.want)*tt.l.UnitValue {
			t.Errorf("%s: %+v, %v", tt.name, got, err)
		}
	}
	if _, err := DeadStock(Lying{OnHand: -1}, 52); err == nil {
		t.Error("a negative shelf is taken")
	}
}
