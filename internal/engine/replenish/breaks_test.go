package replenish

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// What is bought at an offer costs least of all quantities that could be bought
// and are enough, found by looking at every one.
func TestBuysTheCheapestEnough(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		o := Offer{Price: 20, Pack: rapid.Int64Range(0, 5).Draw(t, "pack"), Minimum: rapid.Int64Range(0, 20).Draw(t, "minimum")}
		from, price := 0.0, o.Price
		for range rapid.IntRange(0, 3).Draw(t, "breaks") {
			from += float64(rapid.IntRange(1, 15).Draw(t, "from"))
			price -= float64(rapid.IntRange(0, 6).Draw(t, "off"))
			o.Breaks = append(o.Breaks, Break{From: from, Price: price})
		}
		w := Wish{Quantity: rapid.Int64Range(1, 40).Draw(t, "wanted")}
		least := math.Inf(1)
		pack := max(o.Pack, 1)
		for q := pack; q <= 200; q += pack {
			if q >= w.Quantity && q >= o.Minimum {
				least = min(least, o.price(q)*float64(q))
			}
		}
		quantity, cost := buys(w, o)
		if cost != least || quantity < w.Quantity || quantity < o.Minimum || quantity%pack != 0 {
			t.Fatalf("%d for %v; the cheapest costs %v", quantity, cost, least)
		}
	})
}

// The published all-units example of published_test.go (K 200, i .20, d
// 1000, 500 from 0, 475 from 200, 450 from 500) reaches the proposal: a steady
// demand of its size is ordered in lots of 500.
func TestProposeUsesPriceBreaks(t *testing.T) {
	r := Rules{
		LeadPeriods: 1, Fill: 0.95, OrderCost: 200, HoldingRate: 0.20,
		Breaks: []Break{{0, 500}, {200, 475}, {500, 450}},
	}
	for range 20 {
		r.History = append(r.History, 1000)
	}
	buy, err := Propose(Stock{}, r)
	if err != nil {
		t.Fatal(err)
	}
	level, err := r.level()
	if err != nil || level.upTo-level.reorder != 500 || buy.Quantity != level.upTo {
		t.Errorf("%+v of %+v, %v; want lots of 500", buy, level, err)
	}
	if !strings.Contains(buy.Reason, "lots of 500 cost least") {
		t.Errorf("the reason is %q", buy.Reason)
	}
}

// What is held for alternatives and will come free keeps stock from being ordered,
// but never what jobs wait for.
func TestAlternativesThatComeFree(t *testing.T) {
	rules := Rules{Reorder: 5, UpTo: 10}
	for _, c := range []struct {
		s    Stock
		want int64
	}{
		{Stock{OnHand: 10, Held: 8}, 8},
		{Stock{OnHand: 10, Held: 8, ComesFree: 3}, 5},
		{Stock{OnHand: 10, Held: 8, ComesFree: 4}, 0},
		{Stock{OnHand: 10, Held: 10, Wanted: 2, ComesFree: 9}, 2},
	} {
		if got, err := Propose(c.s, rules); err != nil || got.Quantity != c.want {
			t.Errorf("%+v: %d (%s), %v; want %d", c.s, got.Quantity, got.Reason, err, c.want)
		}
	}
}
