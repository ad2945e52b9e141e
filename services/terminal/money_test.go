package terminal

import (
	"strings"
	"testing"

	"pgregory.net/rapid"

	commonv1 "ramprow/proto/ramprow/common/v1"
)

// Digits of the minor unit: ISO 4217, list one, from memory.
func TestParseMoney(t *testing.T) {
	tests := []struct {
		text, currency string
		want           int64
	}{
		{"1234.50", "EUR", 123450},
		{"1234.5", "EUR", 123450},
		{"1234", "EUR", 123400},
		{"0.05", "EUR", 5},
		{"0", "EUR", 0},
		{"007", "EUR", 700},
		{"1500", "JPY", 1500},
		{"1.234", "KWD", 1234},
	}
	for _, tt := range tests {
		got, err := parseMoney(tt.text, tt.currency)
		if err != nil || got.GetMinorUnits() != tt.want || got.GetCurrencyCode() != tt.currency {
			t.Errorf("%s %s: %v, %v; want %d", tt.text, tt.currency, got, err, tt.want)
		}
	}
}

func TestBadAmountsAreRefused(t *testing.T) {
	for _, tt := range []struct{ text, currency string }{
		{"", "EUR"},
		{".", "EUR"},
		{"1.", "EUR"},
		{".5", "EUR"},
		{"-1", "EUR"},
		{"+1", "EUR"},
		{"1,50", "EUR"},
		{"1'000", "EUR"},
		{"1.234", "EUR"},
		{"1.5", "JPY"},
		{"1e3", "EUR"},
		{"0x10", "EUR"},
		{"1.2.3", "EUR"},
		{" 1", "EUR"},
		{"1 EUR", "EUR"},
		{"٣", "EUR"},
		{"99999999999999999999", "EUR"},
		{"9223372036854775807", "EUR"},
	} {
		if got, err := parseMoney(tt.text, tt.currency); err == nil {
			t.Errorf("%q in %s was taken as %v", tt.text, tt.currency, got)
		} else if !strings.Contains(err.Error(), tt.text) {
			t.Errorf("%q: the error does not name it: %v", tt.text, err)
		}
	}
}

func TestMoneyIsWritten(t *testing.T) {
	for want, m := range map[string]*commonv1.Money{
		"1234.50 EUR": {MinorUnits: 123450, CurrencyCode: "EUR"},
		"0.05 EUR":    {MinorUnits: 5, CurrencyCode: "EUR"},
		"-0.05 EUR":   {MinorUnits: -5, CurrencyCode: "EUR"},
		"0.00 EUR":    {CurrencyCode: "EUR"},
		"1500 JPY":    {MinorUnits: 1500, CurrencyCode: "JPY"},
		"0.012 KWD":   {MinorUnits: 12, CurrencyCode: "KWD"},
		"":            nil,
	} {
		if got := money(m); got != want {
			t.Errorf("%v: %q, want %q", m, got, want)
		}
	}
}

func TestWhatIsWrittenIsReadAgain(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		currency := rapid.SampledFrom([]string{"EUR", "JPY", "KWD"}).Draw(t, "currency")
		units := rapid.Int64Range(0, 1<<61).Draw(t, "units")
		text := amount(units, minorDigits(currency))
		got, err := parseMoney(text, currency)
		if err != nil || got.GetMinorUnits() != units {
			t.Fatalf("%d became %q became %v, %v", units, text, got, err)
		}
	})
}

func FuzzParseMoney(f *testing.F) {
	for _, seed := range []string{"1234.50", "1,5", "", "0.1", "999999999999999999999"} {
		f.Add(seed, "EUR")
	}
	f.Fuzz(func(t *testing.T, text, currency string) {
		m, err := parseMoney(text, currency)
		if err != nil {
			return
		}
		again, err := parseMoney(amount(m.GetMinorUnits(), minorDigits(currency)), currency)
		if err != nil || again.GetMinorUnits() != m.GetMinorUnits() || m.GetMinorUnits() < 0 {
			t.Errorf("%q in %q: %v, then %v, %v", text, currency, m, again, err)
		}
	})
}
