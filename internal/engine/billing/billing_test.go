package billing_test

import (
	"errors"
	"math/big"
	"testing"

	"pgregory.net/rapid"

	"ramprow/internal/engine/billing"
)

// Tax anchors from the public example invoices of the CEN EN 16931 validation
// artefacts (EUPL-1.2, v1.3.16) and the Peppol BIS Billing 3.0 examples;
// numbers only. Each tells half-away-from-zero apart from another rounding.
func TestTaxIsRoundedHalfAwayFromZero(t *testing.T) {
	tests := []struct {
		name    string
		taxable billing.Amount
		rate    billing.BasisPoints
		want    billing.Amount
	}{
		{"365.125 rejects half-even", 146050, 2500, 36513},
		{"1253.105 rejects half-even", 501242, 2500, 125311},
		{"156435.885 rejects half-even", 62574354, 2500, 15643589},
		{"-156435.885 rejects half-up", -62574354, 2500, -15643589},
		{"unit case -1622.84", -649134, 2500, -162284},
		{"unit case 299.75", 214105, 1400, 29975},
		{"unit case 44.96", 214119, 210, 4496},
		{"unit case -117.77", -214119, 550, -11777},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			totals, err := billing.Total([]billing.Line{{Net: tt.taxable, Category: "S", Rate: tt.rate}})
			if err != nil {
				t.Fatal(err)
			}
			if totals.Tax != tt.want || totals.Gross != tt.taxable+tt.want {
				t.Errorf("tax %d, gross %d; want tax %d", totals.Tax, totals.Gross, tt.want)
			}
		})
	}
}

// Line anchors from the same example files: quantity times price, price with
// more decimals than the currency, base quantity. Prices in 1/100 of a cent
// where the example has them.
func TestLineIsRoundedByItself(t *testing.T) {
	tests := []struct {
		name     string
		price    billing.Price
		quantity int64
		want     billing.Amount
	}{
		{"75.3 x 2.55", billing.Price{Amount: 255, Per: 10}, 753, 19202},
		{"5.311 x 15", billing.Price{Amount: 1500, Per: 1000}, 5311, 7967},
		{"18.7 x 2.65", billing.Price{Amount: 265, Per: 10}, 187, 4956},
		{"1701 x 0.275", billing.Price{Amount: 275, Per: 10}, 1701, 46778},
		{"16000 x 0.00880", billing.Price{Amount: 880, Per: 1000}, 16000, 14080},
		{"132 x 15.24/12", billing.Price{Amount: 1524, Per: 12}, 132, 16764},
		{"1 x 441/12", billing.Price{Amount: 44100, Per: 12}, 1, 3675},
		{"no base quantity means one", billing.Price{Amount: 700}, 3, 2100},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got, err := tt.price.Of(tt.quantity)
			if err != nil || got != tt.want {
				t.Errorf("got %d, %v; want %d", got, err, tt.want)
			}
		})
	}
}

// Totals and tax breakdowns of published example invoices (same sources).
func TestTotalsOfPublishedInvoices(t *testing.T) {
	tests := []struct {
		name            string
		lines           []billing.Line
		net, tax, gross billing.Amount
		groups          []billing.TaxGroup
	}{
		{
			"two rates, guide example 1",
			[]billing.Line{{Net: 18323, Category: "S", Rate: 600}, {Net: 4637, Category: "S", Rate: 2100}},
			22960, 2073, 25033,
			[]billing.TaxGroup{{Category: "S", Rate: 600, Taxable: 18323, Tax: 1099}, {Category: "S", Rate: 2100, Taxable: 4637, Tax: 974}},
		},
		{
			"two standard rates, travel",
			[]billing.Line{{Net: 85600, Category: "S", Rate: 600}, {Net: 15000, Category: "S", Rate: 2500}},
			100600, 8886, 109486,
			[]billing.TaxGroup{{Category: "S", Rate: 600, Taxable: 85600, Tax: 5136}, {Category: "S", Rate: 2500, Taxable: 15000, Tax: 3750}},
		},
		{
			"three categories, test 1",
			[]billing.Line{{Net: 146050, Category: "S", Rate: 2500}, {Net: 100, Category: "S", Rate: 1500}, {Net: -2500, Category: "E"}},
			143650, 36528, 180178,
			[]billing.TaxGroup{{Category: "E", Taxable: -2500}, {Category: "S", Rate: 1500, Taxable: 100, Tax: 15}, {Category: "S", Rate: 2500, Taxable: 146050, Tax: 36513}},
		},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			got, err := billing.Total(tt.lines)
			if err != nil {
				t.Fatal(err)
			}
			if got.Net != tt.net || got.Tax != tt.tax || got.Gross != tt.gross {
				t.Errorf("net %d tax %d gross %d; want %d %d %d", got.Net, got.Tax, got.Gross, tt.net, tt.tax, tt.gross)
			}
			if len(got.Groups) != len(tt.groups) {
				t.Fatalf("groups %v; want %v", got.Groups, tt.groups)
			}
			for i := range got.Groups {
				if got.Groups[i] != tt.groups[i] {
					t.Errorf("group %d: %v; want %v", i, got.Groups[i], tt.groups[i])
				}
			}
		})
	}
}

func TestRefusals(t *testing.T) {
	tests := []struct {
		name  string
		lines []billing.Line
		rule  string
	}{
		{"no lines", nil, "BR-16"},
		{"no category", []billing.Line{{Net: 1}}, "BR-CO-4"},
		{"negative rate", []billing.Line{{Net: 1, Category: "S", Rate: -1}}, "TAX_RATE_RANGE"},
		{"rate above 100 %", []billing.Line{{Net: 1, Category: "S", Rate: 10001}}, "TAX_RATE_RANGE"},
		{"too large", []billing.Line{{Net: billing.MaxAmount + 1, Category: "S"}}, "AMOUNT_RANGE"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			_, err := billing.Total(tt.lines)
			refusal, ok := errors.AsType[*billing.Error](err)
			if !ok || refusal.Rule != tt.rule {
				t.Errorf("got %v, want rule %s", err, tt.rule)
			}
		})
	}
}

// MulDiv against exact rationals of math/big, with rounding done by comparing
// the remainder with one half.
func TestMulDivEqualsExactArithmetic(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := rapid.Int64Range(-1e12, 1e12).Draw(t, "amount")
		n := rapid.Int64Range(-100_000, 100_000).Draw(t, "numerator")
		d := rapid.Int64Range(1, 1_000_000).Draw(t, "denominator")
		got, err := billing.MulDiv(billing.Amount(a), n, d)
		exact := new(big.Rat).SetFrac(new(big.Int).Mul(big.NewInt(a), big.NewInt(n)), big.NewInt(d))
		if err != nil {
			limit := new(big.Rat).SetInt64(int64(billing.MaxAmount))
			if exact.Abs(exact).Cmp(limit) <= 0 {
				t.Fatalf("refused %s, which is in range", exact)
			}
			return
		}
		off := new(big.Rat).Sub(exact, new(big.Rat).SetInt64(int64(got)))
		half := big.NewRat(1, 2)
		magnitude := new(big.Rat).Abs(off)
		if magnitude.Cmp(half) > 0 {
			t.Fatalf("%d is more than half a unit from %s", got, exact)
		}
		// A tie leaves the exact value nearer to zero than the rounded one.
		if magnitude.Cmp(half) == 0 && off.Sign() == exact.Sign() {
			t.Fatalf("tie %s was rounded towards zero to %d", exact, got)
		}
	})
}

// Tax per group and never per line: many lines of one group give the tax of their sum.
func TestTaxIsPerGroup(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		nets := rapid.SliceOfN(rapid.Int64Range(-100_000, 1_000_000), 1, 40).Draw(t, "nets")
		lines := make([]billing.Line, len(nets))
		var sum int64
		for i, net := range nets {
			lines[i] = billing.Line{Net: billing.Amount(net), Category: "S", Rate: 2100}
			sum += net
		}
		got, err := billing.Total(lines)
		if err != nil {
			t.Fatal(err)
		}
		want, err := billing.MulDiv(billing.Amount(sum), 2100, 10_000)
		if err != nil {
			t.Fatal(err)
		}
		if len(got.Groups) != 1 || got.Tax != want || got.Gross != billing.Amount(sum)+want {
			t.Fatalf("got %+v, want tax %d", got, want)
		}
	})
}
