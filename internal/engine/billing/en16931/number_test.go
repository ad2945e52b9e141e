package en16931_test

import (
	"math/big"
	"testing"

	"github.com/shopspring/decimal"
	"pgregory.net/rapid"

	"ramprow/internal/engine/billing/en16931"
	"ramprow/internal/engine/billing/invoicetest"
)

// Rounding to the cash unit. The first rows are the example invoices of the CEN
// artefacts that carry BT-114 (v1.3.16, numbers only: Elnat, DataIT, Resor,
// Tjanster, Telefoni, the credit note); those of 0.05 and 0.10 follow the rule of the Swiss
// five-centime coin, computed by hand.
func TestCashRounding(t *testing.T) {
	tests := []struct{ amount, unit, want string }{
		{"1952.99", "1", "1953"},
		{"10157.5", "1", "10158"},
		{"1094.86", "1", "1095"},
		{"6265.53", "1", "6266"},
		{"1038.78", "1", "1039"},
		{"10000.10", "1", "10000"},
		{"10.02", "0.05", "10.00"},
		{"10.025", "0.05", "10.05"},
		{"10.03", "0.05", "10.05"},
		{"-10.025", "0.05", "-10.05"},
		{"-10.02", "0.05", "-10"},
		{"0.04", "0.10", "0"},
		{"0.05", "0.10", "0.10"},
		{"7.77", "0", "7.77"},
	}
	for _, tt := range tests {
		t.Run(tt.amount+" to "+tt.unit, func(t *testing.T) {
			if got := en16931.RoundTo(invoicetest.Dec(tt.amount), invoicetest.Dec(tt.unit)); !got.Equal(invoicetest.Dec(tt.want)) {
				t.Errorf("got %s, want %s", got, tt.want)
			}
		})
	}
}

// Line anchors of the example invoices (BILLING check values, CEN v1.3.16 and Peppol @78d7f7d).
func TestLineAnchors(t *testing.T) {
	tests := []struct{ quantity, price, per, want string }{
		{"75.3", "2.55", "1", "192.02"},
		{"5.311", "15", "1", "79.67"},
		{"18.7", "2.65", "1", "49.56"},
		{"1701", "0.275", "1", "467.78"},
		{"16000", "0.00880", "1", "140.80"},
		{"132", "15.24", "12", "167.64"},
		{"1", "441", "12", "36.75"},
		{"90", "1585", "365", "390.82"},
	}
	for _, tt := range tests {
		t.Run(tt.quantity+" x "+tt.price, func(t *testing.T) {
			line := invoicetest.Line("1", tt.quantity, "C62", tt.price, invoicetest.Rate("S", "20"))
			line.Price.Per = en16931.Number(invoicetest.Dec(tt.per))
			if got := line.Amount(); !got.Equal(invoicetest.Dec(tt.want)) {
				t.Errorf("got %s, want %s", got, tt.want)
			}
		})
	}
}

// A line's amount against exact rationals of math/big.
func TestLineAmountIsExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		number := func(what string, low, high int64) decimal.Decimal {
			return decimal.New(rapid.Int64Range(low, high).Draw(t, what), -rapid.Int32Range(0, 4).Draw(t, what+" places"))
		}
		quantity, price, per := number("quantity", -1e6, 1e6), number("price", 0, 1e7), number("per", 1, 1e5)
		line := en16931.Line{Quantity: &quantity, Price: en16931.Price{Net: en16931.New(price, "EUR"), Per: &per}}
		exact := new(big.Rat).Mul(quantity.Rat(), price.Rat())
		exact.Quo(exact, per.Rat())
		off := new(big.Rat).Sub(exact, line.Amount().Rat())
		magnitude, half := new(big.Rat).Abs(off), big.NewRat(1, 200)
		if magnitude.Cmp(half) > 0 {
			t.Fatalf("%s x %s / %s: %s is more than half a cent from %s", quantity, price, per, line.Amount(), exact.FloatString(6))
		}
		if magnitude.Cmp(half) == 0 && off.Sign() == exact.Sign() {
			t.Fatalf("tie %s was rounded towards zero", exact.FloatString(6))
		}
	})
}

func TestParseNumber(t *testing.T) {
	tests := []struct {
		text, want string
		ok         bool
	}{
		{"12.50", "12.5", true},
		{"-0.1", "-0.1", true},
		{"+7", "7", true},
		{".00", "0", true},
		{"5.", "5", true},
		{"1e9", "", false},
		{"", "", false},
		{".", "", false},
		{"-", "", false},
		{"--1", "", false},
		{"1,5", "", false},
		{"1.2.3", "", false},
		{"NaN", "", false},
		{"1234567890123456789012345678901", "", false},
	}
	for _, tt := range tests {
		t.Run(tt.text, func(t *testing.T) {
			got, ok := en16931.ParseNumber(tt.text)
			if ok != tt.ok || ok && !got.Equal(invoicetest.Dec(tt.want)) {
				t.Errorf("got %s, %v; want %s, %v", got, ok, tt.want, tt.ok)
			}
		})
	}
}

// The registers' check digits: GLN of GS1's own example numbers, the
// organisation numbers of the Peppol test set's public bodies are left out; the
// rest is computed by each register's published rule.
func TestIdentifiers(t *testing.T) {
	tests := []struct {
		scheme, value, rule string
		ok                  bool
	}{
		{"0088", "7300010000001", "PEPPOL-COMMON-R040", true},
		{"0088", "7300010000002", "PEPPOL-COMMON-R040", false},
		{"0088", "73000x", "PEPPOL-COMMON-R040", false},
		{"0192", "123456785", "PEPPOL-COMMON-R041", true},
		{"0192", "123456786", "PEPPOL-COMMON-R041", false},
		{"0184", "DK12345678", "PEPPOL-COMMON-R042", true},
		{"0184", "12345678", "PEPPOL-COMMON-R042", false},
		{"0208", "0123456749", "PEPPOL-COMMON-R043", true},
		{"0208", "0123456748", "PEPPOL-COMMON-R043", false},
		{"0007", "1234567897", "PEPPOL-COMMON-R049", true},
		{"0007", "1234567890", "PEPPOL-COMMON-R049", false},
		{"0151", "51824753556", "PEPPOL-COMMON-R050", true},
		{"0151", "51824753557", "PEPPOL-COMMON-R050", false},
	}
	for _, tt := range tests {
		t.Run(tt.scheme+" "+tt.value, func(t *testing.T) {
			inv := invoicetest.Good()
			inv.Buyer.Endpoint = &en16931.Identifier{Scheme: tt.scheme, Value: tt.value}
			found := false
			for _, f := range en16931.Check(inv) {
				found = found || f.Rule == tt.rule
			}
			if found == tt.ok {
				t.Errorf("found %v", found)
			}
		})
	}
}
