package replenish

import (
	"errors"
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestProposals(t *testing.T) {
	monthly := []float64{0, 1, 0, 0, 1, 0, 1, 0, 0, 1, 0, 1, 0, 0, 1, 0}
	for _, row := range []struct {
		name     string
		stock    Stock
		rules    Rules
		quantity int64
		reason   string
	}{
		{"nothing known, nothing wanted", Stock{}, Rules{}, 0, ""},
		{"jobs wait", Stock{Wanted: 5, OnOrder: 2}, Rules{}, 3, "jobs wait for 5"},
		{"jobs wait, covered by an order", Stock{Wanted: 5, OnOrder: 5}, Rules{}, 0, ""},
		{"jobs wait, in packs", Stock{Wanted: 5}, Rules{Pack: 4}, 8, "5 made 8"},
		{"jobs wait, minimum order", Stock{Wanted: 5}, Rules{Minimum: 20}, 20, "5 made 20"},
		{"above the reorder point", Stock{OnHand: 4}, Rules{Reorder: 3, UpTo: 10}, 0, ""},
		{"at the reorder point", Stock{OnHand: 3}, Rules{Reorder: 3, UpTo: 10}, 7, "reorder point of 3"},
		{"held stock is not free", Stock{OnHand: 9, Held: 6}, Rules{Reorder: 3, UpTo: 10}, 7, "3 free"},
		{"orders count", Stock{OnHand: 3, OnOrder: 7}, Rules{Reorder: 3, UpTo: 10}, 0, ""},
		{"waiting and stock in one order", Stock{Wanted: 2}, Rules{Reorder: 3, UpTo: 10}, 12, "jobs wait"},
		{"superseded: for jobs only", Stock{Superseded: true, Wanted: 1}, Rules{Reorder: 3, UpTo: 10}, 1, "jobs wait"},
		{"history too short", Stock{}, Rules{History: monthly[:11], Fill: 0.9, LeadPeriods: 1}, 0, ""},
		{"history with one demand", Stock{}, Rules{History: make([]float64, 30), Fill: 0.9}, 0, ""},
		{"slow part from history", Stock{}, Rules{History: monthly, Fill: 0.9, LeadPeriods: 1}, 3, "intermittent"},
	} {
		t.Run(row.name, func(t *testing.T) {
			b := ok(Propose(row.stock, row.rules))(t)
			if b.Quantity != row.quantity || !strings.Contains(b.Reason, row.reason) {
				t.Errorf("got %d because %q, want %d because %q", b.Quantity, b.Reason, row.quantity, row.reason)
			}
			if (b.Quantity == 0) != (b.Reason == "") {
				t.Errorf("%d with the reason %q", b.Quantity, b.Reason)
			}
		})
	}
}

// What is proposed always covers the waiting jobs, in whole packs, and one
// proposal that is followed leaves nothing to propose.
func TestProposalSuffices(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := Stock{
			OnHand:  rapid.Int64Range(0, 1000).Draw(t, "on hand"),
			OnOrder: rapid.Int64Range(0, 1000).Draw(t, "on order"),
			Wanted:  rapid.Int64Range(0, 1000).Draw(t, "wanted"),
		}
		s.Held = rapid.Int64Range(0, s.OnHand).Draw(t, "held")
		r := Rules{
			Reorder:     rapid.Int64Range(0, 50).Draw(t, "reorder"),
			Pack:        rapid.Int64Range(0, 12).Draw(t, "pack"),
			Minimum:     rapid.Int64Range(0, 30).Draw(t, "minimum"),
			LeadPeriods: rapid.Float64Range(0, 10).Draw(t, "lead"),
			Fill:        rapid.Float64Range(0.5, 0.999).Draw(t, "fill"),
			History:     rapid.SliceOfN(rapid.Float64Range(0, 20), 0, 40).Draw(t, "history"),
		}
		b, err := Propose(s, r)
		if err != nil {
			t.Fatal(err)
		}
		if b.Quantity > 0 && r.Pack > 0 && b.Quantity%r.Pack != 0 {
			t.Fatalf("%d are not whole packs of %d", b.Quantity, r.Pack)
		}
		s.OnOrder += b.Quantity
		if s.OnOrder < s.Wanted {
			t.Fatalf("%d on order do not cover %d wanted", s.OnOrder, s.Wanted)
		}
		if again, err := Propose(s, r); err != nil || again.Quantity != 0 {
			t.Fatalf("after ordering %d, another %d are proposed: %s (%v)", b.Quantity, again.Quantity, again.Reason, err)
		}
	})
}

// The best lot is nowhere beaten by its neighbours.
func TestLotIsTheBest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		o := Ordering{
			FixedCost:   rapid.Float64Range(0.1, 1000).Draw(t, "fixed"),
			HoldingCost: rapid.Float64Range(0.01, 100).Draw(t, "holding"),
			Demand:      rapid.Float64Range(0.1, 10000).Draw(t, "demand"),
		}
		lot, err := EOQ(o)
		if err != nil {
			t.Fatal(err)
		}
		factor := rapid.Float64Range(0.1, 10).Draw(t, "factor")
		if other := o.costOf(lot.Quantity * factor); other < lot.Cost*(1-1e-12) {
			t.Fatalf("%v times the lot costs %v, less than %v", factor, other, lot.Cost)
		}
	})
}

func TestBadInputsAreNamed(t *testing.T) {
	for name, err := range map[string]error{
		"no demand":        errOf(EOQ(Ordering{FixedCost: 1, HoldingCost: 1})),
		"NaN":              errOf(EOQ(Ordering{FixedCost: math.NaN(), HoldingCost: 1, Demand: 1})),
		"infinite":         errOf(EOQ(Ordering{FixedCost: math.Inf(1), HoldingCost: 1, Demand: 1})),
		"slow production":  errOf(EPQ(Ordering{FixedCost: 1, HoldingCost: 1, Demand: 5}, 5)),
		"certain service":  errOf(ReorderPoint(LeadDemand{Mean: 1, SD: 1}, 1)),
		"no spread":        errOf(ReorderPoint(LeadDemand{Mean: 1}, 0.9)),
		"negative stock":   errOf(BaseStockService(1, -1)),
		"negative demand":  errOf(Classify([]float64{1, -1})),
		"heavy smoothing":  errOf(Forecast(SES, nil, Smoothing{Size: 1})),
		"unknown method":   errOf(Forecast(Method(99), nil, Smoothing{Size: 0.1})),
		"no breaks":        errOf(AllUnits(Discounted{FixedCost: 1, HoldingRate: 1, Demand: 1})),
		"rising price":     errOf(Incremental(Discounted{FixedCost: 1, HoldingRate: 1, Demand: 1, Breaks: []Break{{0, 1}, {5, 2}}})),
		"uneven periods":   errOf(AvailableToPromise(0, []int64{1}, nil)),
		"negative receipt": errOf(AvailableToPromise(0, []int64{-1}, []int64{0})),
		"too much on hand": errOf(Propose(Stock{OnHand: math.MaxInt64}, Rules{})),
		"ABC":              errOf(ABC(nil, 0.9, 0.5)),
	} {
		if _, is := errors.AsType[*InputError](err); !is {
			t.Errorf("%s: %v is not an InputError", name, err)
		}
	}
}

func errOf[T any](_ T, err error) error { return err }
