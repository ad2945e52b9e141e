package money

import "testing"

// The digits of the currencies are those of ISO 4217 (from memory).
func TestMoney(t *testing.T) {
	for _, tt := range []struct {
		text, currency string
		units          int64 // below 0: refused
		back           string
	}{
		{"12.5", "EUR", 1250, "12.50"},
		{"0.07", "EUR", 7, "0.07"},
		{"1200", "JPY", 1200, "1200"},
		{"1.234", "KWD", 1234, "1.234"},
		{"1.005", "EUR", -1, ""},
		{"1.0", "JPY", -1, ""},
		{"1,50", "EUR", -1, ""},
		{"-1", "EUR", -1, ""},
		{"", "EUR", -1, ""},
		{".5", "EUR", -1, ""},
		{"99999999999999999999", "EUR", -1, ""},
	} {
		units, err := Parse(tt.text, tt.currency)
		if (err != nil) != (tt.units < 0) || err == nil && (units != tt.units || Format(units, Digits(tt.currency)) != tt.back) {
			t.Errorf("%q in %s: %d, %v", tt.text, tt.currency, units, err)
		}
	}
	if got := Format(-5, 2); got != "-0.05" {
		t.Errorf("-5 is written %s", got)
	}
}
