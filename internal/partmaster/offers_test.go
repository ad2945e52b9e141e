package partmaster

import (
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/proto"

	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

func nobody(string) *inventoryv1.Supplier { return nil }

// What is written is read as it was.
func TestOffersThereAndBack(t *testing.T) {
	suppliers := []*inventoryv1.Supplier{
		{Id: "northvale", Title: "Northvale, parts", CurrencyCode: "EUR", MinimumMinorUnits: 5000, CarriageMinorUnits: 590, CarriageFreeMinorUnits: 15000, LineCostMinorUnits: 120},
		{Id: "tokyo", CurrencyCode: "JPY", CarriageMinorUnits: 900},
	}
	offers := []*inventoryv1.Offer{
		{Supplier: "northvale", Part: "MO-1", Pack: 4, Minimum: 8, LeadTimeDays: 2, PriceQuantity: 1, Prices: []*inventoryv1.PriceFrom{{MinorUnits: 250}, {Quantity: 40, MinorUnits: 210}}},
		{Supplier: "tokyo", Part: "MO-1", LeadTimeDays: 30, Prices: []*inventoryv1.PriceFrom{{MinorUnits: 180}}},
	}
	var b strings.Builder
	if err := WriteOffers(&b, suppliers, offers); err != nil {
		t.Fatal(err)
	}
	read, mistakes := ReadOffers(b.String(), nobody)
	if len(mistakes) > 0 || len(read) != 4 {
		t.Fatalf("%v, %v\n%s", mistakes, read, b.String())
	}
	for i, want := range []proto.Message{suppliers[0], suppliers[1], offers[0], offers[1]} {
		var got proto.Message = read[i].Supplier
		if read[i].Offer != nil {
			got = read[i].Offer
		}
		if !proto.Equal(got, want) {
			t.Errorf("line %d is %v, want %v", read[i].Line, got, want)
		}
	}
}

func TestReadOffersTellsEveryMistake(t *testing.T) {
	head := strings.Join(allTermsColumns(), ",") + "\n"
	for name, c := range map[string]struct {
		text string
		want []string
	}{
		"no supplier column": {"part,price\nMO-1,2\n", []string{"line 1, supplier: this column is needed: each line is told apart by it"}},
		"unknown supplier":   {head + "west,MO-1,,,,,,,,,,,0,2.50\n", []string{"line 2, supplier: nothing is known of west; put a line with its currency and no part before"}},
		"terms twice":        {head + "west,,,EUR,,,,,,,,,,\nwest,,,EUR,,,,,,,,,,\n", []string{"line 3, supplier: the terms of west stand on another line already"}},
		"misplaced": {head + "west,,,EUR,,,,,4,,,,,\nwest,MO-1,,,5,,,,,,,,0,2.50\n", []string{
			"line 2, pack: belongs to a line with a part", "line 3, minimum_order: belongs to a line without a part",
		}},
		"amounts": {head + "west,,,EUR,x,,,,,,,,,\nwest,MO-1,,,,,,,1.5,,,,0,2.505\n", []string{
			`line 2, minimum_order: "x" is no amount in EUR; write it as in 1234.50`,
			`line 3, pack: "1.5" is no whole number; write pieces, ml, g or mm without decimals`,
			`line 3, price: "2.505" is no amount in EUR; write it as in 1234.50`,
		}},
		"no price":     {head + "west,,,EUR,,,,,,,,,,\nwest,MO-1,,,,,,,,,,,,\n", []string{"line 3, price: an offer needs a price"}},
		"said twice":   {head + "west,,,EUR,,,,,,,,,,\nwest,MO-1,,,,,,,4,,,,0,2\nwest,MO-1,,,,,,,4,,,,9,1\n", []string{"line 4, pack: stands with the first price of this part already"}},
		"broken rules": {head + "West,,,EU,,,,,,,,,,\n", []string{"line 2, supplier: ", "line 2, currency: "}},
		"far ahead":    {head + "west,,,EUR,,,,,,,,,,\nwest,MO-1,,,,,,,,,9999999,,0,2\n", []string{"line 3, lead_time_days: "}},
	} {
		t.Run(name, func(t *testing.T) {
			_, mistakes := ReadOffers(c.text, nobody)
			if len(mistakes) != len(c.want) {
				t.Fatalf("%v, want %v", mistakes, c.want)
			}
			for i, m := range mistakes {
				if !strings.HasPrefix(m.String(), c.want[i]) {
					t.Errorf("got %q, want %q", m, c.want[i])
				}
			}
		})
	}
}

// Whatever is read: no panic, mistakes stand in the order of lines, and what has
// none is written and read back as it was.
func FuzzReadOffers(f *testing.F) {
	head := strings.Join(allTermsColumns(), ",") + "\n"
	f.Add(head + "west,,West,EUR,50,5.90,150,1.20,,,,,,\nwest,MO-1,,,,,,,4,8,2,1,0,2.50\nwest,MO-1,,,,,,,,,,,40,2.10\n")
	f.Add("supplier,part\n,\n")
	f.Add("\"")
	f.Fuzz(func(t *testing.T, text string) {
		read, mistakes := ReadOffers(text, nobody)
		if !slices.IsSortedFunc(mistakes, func(a, b Mistake) int { return a.Line - b.Line }) {
			t.Fatalf("out of order: %v", mistakes)
		}
		if len(mistakes) > 0 {
			return
		}
		var suppliers []*inventoryv1.Supplier
		var offers []*inventoryv1.Offer
		for _, r := range read {
			if r.Supplier != nil {
				suppliers = append(suppliers, r.Supplier)
			} else {
				offers = append(offers, r.Offer)
			}
		}
		var b strings.Builder
		if err := WriteOffers(&b, suppliers, offers); err != nil {
			t.Fatal(err)
		}
		again, mistakes := ReadOffers(b.String(), nobody)
		if len(mistakes) > 0 || len(again) != len(read) {
			t.Fatalf("%v from what was written:\n%s", mistakes, b.String())
		}
	})
}
