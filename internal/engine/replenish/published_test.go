package replenish

import (
	"math"
	"testing"
)

// The values below are published unless a line says "computed": then an
// independent program gave them. "Snyder and Shen" is Fundamentals of Supply
// Chain Theory, 2nd edition, with the example's number.

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if math.IsNaN(got) || math.Abs(got-want) > tolerance {
		t.Errorf("%s = %.10g, want %.10g (± %g)", what, got, want, tolerance)
	}
}

func ok[T any](v T, err error) func(t *testing.T) T {
	return func(t *testing.T) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

func TestLotsAgainstSnyderAndShen(t *testing.T) {
	o := Ordering{FixedCost: 8, HoldingCost: 0.225, Demand: 1300}

	lot := ok(EOQ(o))(t) // example 3.1
	near(t, "EOQ", lot.Quantity, 304.0467800, 1e-7)
	near(t, "its cost", lot.Cost, 68.4105255, 1e-7)

	lot = ok(EOQWithBackorders(o, 5))(t) // example 3.8
	near(t, "EOQ with backorders", lot.Quantity, 310.8125552, 1e-7)
	near(t, "its cost", lot.Cost, 66.9213636, 1e-7)
	near(t, "its share of time short", lot.ShortShare, 0.0430622, 1e-7)

	lot = ok(EPQ(o, 1700))(t)
	near(t, "EPQ", lot.Quantity, 626.8084946, 1e-7)
	near(t, "its cost", lot.Cost, 33.1839791, 1e-7)
}

func TestDiscounts(t *testing.T) {
	// Both as in the documentation of the stockpyl library, recomputed independently.
	lot := ok(AllUnits(Discounted{
		FixedCost: 200, HoldingRate: 0.20, Demand: 1000,
		Breaks: []Break{{0, 500}, {200, 475}, {500, 450}},
	}))(t)
	near(t, "all-units lot", lot.Quantity, 500, 0)
	near(t, "its cost", lot.Cost, 472_900, 1e-9)

	lot = ok(Incremental(Discounted{
		FixedCost: 150, HoldingRate: 0.25, Demand: 2400,
		Breaks: []Break{{0, 100}, {300, 90}, {600, 80}},
	}))(t)
	near(t, "incremental lot", lot.Quantity, 1481.8906842, 1e-6)
	near(t, "its cost", lot.Cost, 222_762.8136845, 1e-6)
}

func TestNewsvendorAgainstSnyderAndShen(t *testing.T) {
	c := OneTime{Over: 0.18, Under: 0.70}

	lot := ok(NewsvendorNormal(c, 50, 8))(t) // example 4.3
	near(t, "normal", lot.Quantity, 56.6039559, 1e-6)
	near(t, "its cost", lot.Cost, 1.9976052, 1e-7)
	near(t, "cost of 40", NewsvendorNormalCost(c, 50, 8, 40), 7.3561316, 1e-7)
	near(t, "cost of 60", NewsvendorNormalCost(c, 50, 8, 60), 2.1561316, 1e-7)

	lot = ok(NewsvendorPoisson(c, 50))(t)
	near(t, "Poisson", lot.Quantity, 56, 0)
	near(t, "its cost", lot.Cost, 1.7972352, 1e-7)

	c = OneTime{Over: 1, Under: 4}
	lot = ok(NewsvendorPoisson(c, 6))(t) // example 4.7
	near(t, "Poisson", lot.Quantity, 8, 0)
	near(t, "its cost", lot.Cost, 3.5701069, 1e-7)
	near(t, "cost of 5", NewsvendorPoissonCost(c, 6, 5), 6.5902960, 1e-7)
}

func TestLossFunctions(t *testing.T) {
	// Documentation of the stockpyl library, recomputed independently.
	near(t, "normal loss", NormalLoss(1.3), 0.0455279621, 1e-10)
	near(t, "its complement", 1.3+NormalLoss(1.3), 1.3455279621, 1e-10)
	near(t, "Poisson loss", PoissonLoss(15, 18), 0.5176095, 1e-7)
	near(t, "its complement", 18-15+PoissonLoss(15, 18), 3.5176095, 1e-7)
}

func TestNormalTable(t *testing.T) {
	// The usual table of z; the losses are computed.
	for _, row := range []struct{ p, z, loss float64 }{
		{0.90, 1.281552, 0.04734318},
		{0.95, 1.644854, 0.02089296},
		{0.975, 1.959964, 0.00944597},
		{0.98, 2.053749, 0.00734316},
		{0.99, 2.326348, 0.00338866},
		{0.995, 2.575829, 0.00158060},
		{0.999, 3.090232, 0.00027686},
	} {
		z := NormalQuantile(row.p)
		near(t, "z", z, row.z, 5e-7)
		near(t, "L(z)", NormalLoss(z), row.loss, 5e-9)
		near(t, "z of L", normalLossInverse(NormalLoss(z)), z, 1e-9)
	}
}

func TestReorderPoints(t *testing.T) {
	l := LeadDemand{Mean: 100, SD: 25}

	// Nahmias, Production and Operations Analysis, example 5.4 (from memory; recomputed).
	best, first, err := BestLotAndPoint(Ordering{FixedCost: 50, HoldingCost: 2, Demand: 200}, l, 25)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "first reorder point", first, 143.767, 1e-3)
	near(t, "lot", best.Lot, 110.7737, 1e-4)
	near(t, "reorder point", best.Point.Reorder, 142.5682, 1e-4)

	// The rest is computed.
	p := ok(ReorderPoint(l, 0.98))(t)
	near(t, "type 1 z", p.Z, 2.053749, 1e-6)
	near(t, "type 1 point", p.Reorder, 151.34, 5e-3)

	p = ok(ReorderPointForFill(l, 100, 0.98))(t)
	near(t, "type 2 z", p.Z, 1.021239, 1e-6)
	near(t, "type 2 point", p.Reorder, 125.53, 5e-3)
	near(t, "its type 1 service", p.CycleService, 0.8464, 5e-5)

	l = DuringLead(50, 8, 5, 1)
	near(t, "spread over a random lead time", l.SD, 53.103672, 1e-6)
	p = ok(ReorderPoint(l, 0.95))(t)
	near(t, "safety stock", p.Safety, 87.347768, 1e-5)
	near(t, "reorder point", p.Reorder, 337.347768, 1e-5)
}

func TestBaseStockTable(t *testing.T) {
	// Computed.
	for _, row := range []struct {
		stock                int
		ready, fill, waiting float64
	}{
		{3, 0.647232, 0.423190, 0.672125},
		{5, 0.916082, 0.815263, 0.134621},
		{6, 0.966491, 0.916082, 0.050703},
	} {
		s := ok(BaseStockService(3, row.stock))(t)
		near(t, "ready rate", s.Ready, row.ready, 5e-7)
		near(t, "fill rate", s.Fill, row.fill, 5e-7)
		near(t, "units waited for", s.Waiting, row.waiting, 5e-7)
	}
	if s := ok(BaseStock(3, 0.9))(t); s.Stock != 6 {
		t.Errorf("base stock for 90 %% is %d, want 6", s.Stock)
	}
}

func TestForecastsByHand(t *testing.T) {
	// Worked by hand; the correction factors are those of the R package forecast
	// (pkg.robjhyndman.com), TSB's equations those on pmorgan.com.au.
	history := []float64{0, 0, 5, 0, 0, 0, 4, 0, 6, 0, 0, 3}
	s := Smoothing{Size: 0.2}
	for _, row := range []struct {
		name   string
		method Method
		want   float64
	}{
		{"Croston", Croston, 1.560647},
		{"SBA", SBA, 1.404582},
		{"SBJ", SBJ, 1.387242},
		{"TSB", TSB, 1.849180},
	} {
		near(t, row.name, ok(Forecast(row.method, history, s))(t), row.want, 1e-6)
	}
	// TSB's size and probability after each period, from a start of 4.5 and 1/3.
	for i, row := range []struct{ size, probability float64 }{
		{4.5, 0.266667},
		{4.5, 0.213333},
		{4.6, 0.370667},
		{4.6, 0.296533},
		{4.6, 0.237227},
		{4.6, 0.189781},
		{4.48, 0.351825},
		{4.48, 0.28146},
		{4.784, 0.425168},
		{4.784, 0.340134},
		{4.784, 0.272108},
		{4.4272, 0.417686},
	} {
		got := fading(history[:i+1], s, Start{Size: 4.5, Probability: 1.0 / 3})
		near(t, "TSB on the way", got, row.size*row.probability, 3e-6)
	}
	// TSB decays by 1 - beta for every further period without demand.
	start := startOf(history)
	before := fading(history, s, start)
	after := fading(append(history, 0), s, start)
	near(t, "TSB's decay", after/before, 0.8, 1e-12)
}

// pharmacy is a published series of 204 months, the PBS_dataset.csv of sktime.
var pharmacy = []float64{
	1, 1, 1, 0, 0, 1, 3, 1, 1, 1, 1, 1, 2, 1, 1, 0, 0, 2, 0, 0, 1, 2, 0, 1, 0, 0, 1, 1, 1, 1, 0, 0, 2, 1,
	0, 0, 0, 1, 0, 3, 3, 2, 4, 1, 1, 3, 3, 1, 0, 4, 1, 3, 0, 1, 2, 5, 14, 2, 0, 0, 3, 6, 2, 2, 2, 5, 1, 6,
	3, 3, 2, 0, 1, 1, 0, 0, 0, 1, 4, 12, 4, 0, 7, 0, 2, 1, 4, 1, 3, 1, 0, 6, 9, 3, 1, 3, 1, 7, 1, 3, 3, 3,
	5, 6, 10, 5, 1, 3, 1, 1, 1, 2, 1, 3, 7, 11, 10, 5, 5, 2, 2, 1, 0, 3, 6, 5, 8, 9, 1, 1, 0, 0, 0, 1, 2, 2,
	0, 0, 0, 0, 1, 0, 0, 0, 2, 1, 1, 0, 1, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 1, 0, 1, 3, 0, 0, 0, 0,
	0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0,
}

// The forecasts that sktime's own test of Croston's method quotes from the R
// package forecast; class and its figures are computed.
func TestAPublishedSeries(t *testing.T) {
	for alpha, want := range map[float64]float64{0.1: 0.8688921, 0.5: 0.6754646, 0.05: 1.405808} {
		near(t, "Croston", ok(Forecast(Croston, pharmacy, Smoothing{Size: alpha}))(t), want, 5e-7)
	}
	p := ok(Classify(pharmacy))(t)
	near(t, "interval", p.Interval, 1.789474, 5e-7)
	near(t, "variation", p.Variation, 0.832349, 5e-7)
	if p.Class != Lumpy {
		t.Errorf("it is %v, want lumpy", p.Class)
	}
}

func TestClasses(t *testing.T) {
	// Cut-offs 1.32 and 0.49 as on krzjoa.github.io/m5.
	for _, row := range []struct {
		interval, variation float64
		want                Class
	}{
		{1.31, 0.48, Smooth},
		{1.32, 0.48, Intermittent},
		{1.31, 0.49, Erratic},
		{1.32, 0.49, Lumpy},
	} {
		if got := ClassOf(row.interval, row.variation); got != row.want {
			t.Errorf("class of %v, %v is %v, want %v", row.interval, row.variation, got, row.want)
		}
	}
}

func TestABCAgainstHeizer(t *testing.T) {
	// Heizer, Operations Management, example 12.1 (read at holooly.com). The book
	// prints 6.4 % for the fifth item, which is 6.46 %.
	values := []float64{90_000, 77_000, 26_350, 15_001, 12_500, 8_502, 1_200, 850, 504, 150}
	var items []Item
	for i, v := range values {
		items = append(items, Item{Name: string(rune('a' + i)), Value: v})
	}
	ranked := ok(ABC(items, 0.70, 0.95))(t)
	count, share := map[byte]int{}, map[byte]float64{}
	for _, r := range ranked {
		count[r.Class]++
		share[r.Class] += r.Share
	}
	for _, row := range []struct {
		class byte
		items int
		share float64
	}{{'A', 2, 0.72}, {'B', 3, 0.23}, {'C', 5, 0.05}} {
		if count[row.class] != row.items {
			t.Errorf("class %c has %d items, want %d", row.class, count[row.class], row.items)
		}
		near(t, "share of class "+string(row.class), share[row.class], row.share, 0.005)
	}
}

func TestAvailableToPromise(t *testing.T) {
	for _, row := range []struct {
		name               string
		onHand             int64
		receipts, promised []int64
		want               []int64
	}{
		{ // Stevenson, Operations Management, pumps: inputs and first figure read, the rest computed.
			"pumps", 64,
			[]int64{0, 0, 70, 0, 70, 0, 70, 70},
			[]int64{33, 20, 10, 4, 2, 0, 0, 0},
			[]int64{11, 0, 56, 0, 68, 0, 70, 70},
		},
		{ // Inputs read at wizedu.com, figures computed.
			"from an empty shelf", 0,
			[]int64{75, 75, 75, 0, 75, 75, 0, 75},
			[]int64{52, 35, 20, 12, 0, 0, 0, 0},
			[]int64{23, 40, 43, 0, 75, 75, 0, 75},
		},
		{ // The APICS rule: a shortage borrows from earlier receipts; by hand.
			"borrowing", 10,
			[]int64{0, 5, 5},
			[]int64{0, 0, 12},
			[]int64{8, 0, 0},
		},
		{"promised too much", 1, []int64{0, 5}, []int64{0, 9}, []int64{-3, 0}}, // by hand
	} {
		t.Run(row.name, func(t *testing.T) {
			p := ok(AvailableToPromise(row.onHand, row.receipts, row.promised))(t)
			for i, want := range row.want {
				if p.Available[i] != want {
					t.Errorf("period %d: %d to promise, want %d", i+1, p.Available[i], want)
				}
			}
		})
	}
}
