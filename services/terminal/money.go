package terminal

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	commonv1 "ramprow/proto/ramprow/common/v1"
)

// minorDigits is how many decimals a currency has, by ISO 4217 (its table of
// minor units; the exceptions to two, from memory).
func minorDigits(currency string) int {
	switch currency {
	case "BIF", "CLP", "DJF", "GNF", "ISK", "JPY", "KMF", "KRW", "PYG", "RWF", "UGX", "VND", "VUV", "XAF", "XOF", "XPF":
		return 0
	case "BHD", "IQD", "JOD", "KWD", "LYD", "OMR", "TND":
		return 3
	default:
		return 2
	}
}

// money writes an amount, as in 1234.50 EUR; nothing for none.
func money(m *commonv1.Money) string {
	if m == nil {
		return ""
	}
	return amount(m.GetMinorUnits(), minorDigits(m.GetCurrencyCode())) + " " + m.GetCurrencyCode()
}

func amount(units int64, digits int) string {
	text := strconv.FormatInt(units, 10)
	text, negative := strings.CutPrefix(text, "-")
	if missing := digits + 1 - len(text); missing > 0 {
		text = strings.Repeat("0", missing) + text
	}
	if digits > 0 {
		text = text[:len(text)-digits] + "." + text[len(text)-digits:]
	}
	if negative {
		text = "-" + text
	}
	return text
}

// parseMoney reads an amount of a currency, exactly: no more decimals than it
// has, no sign, no thousands separator that could be a decimal point elsewhere.
func parseMoney(text, currency string) (*commonv1.Money, error) {
	digits := minorDigits(currency)
	whole, fraction, pointed := strings.Cut(text, ".")
	if !allDigits(whole) || pointed && (!allDigits(fraction) || len(fraction) > digits) {
		return nil, fmt.Errorf("%q is no amount in %s; write it as in %s", text, currency, amount(123450, digits))
	}
	for len(fraction) < digits {
		fraction += "0"
	}
	units, err := strconv.ParseInt(whole+fraction, 10, 64)
	if err != nil || units > math.MaxInt64/2 { // sums must not overflow either
		return nil, fmt.Errorf("%q is more money than can be written", text)
	}
	return &commonv1.Money{MinorUnits: units, CurrencyCode: currency}, nil
}

func allDigits(text string) bool {
	for _, r := range text {
		if r < '0' || r > '9' {
			return false
		}
	}
	return text != ""
}

// sumMoney adds amounts of one currency.
func sumMoney(all ...*commonv1.Money) *commonv1.Money {
	sum := &commonv1.Money{}
	for _, m := range all {
		sum.MinorUnits += m.GetMinorUnits()
		if m.GetCurrencyCode() != "" {
			sum.CurrencyCode = m.GetCurrencyCode()
		}
	}
	return sum
}
