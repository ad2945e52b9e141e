// Package money writes and reads amounts of a currency exactly: whole minor
// units inside, decimals outside.
package money

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// Digits is how many decimals a currency has, by ISO 4217 (its table of minor
// units; the exceptions to two, from memory).
func Digits(currency string) int {
	switch currency {
	case "BIF", "CLP", "DJF", "GNF", "ISK", "JPY", "KMF", "KRW", "PYG", "RWF", "UGX", "VND", "VUV", "XAF", "XOF", "XPF":
		return 0
	case "BHD", "IQD", "JOD", "KWD", "LYD", "OMR", "TND":
		return 3
	default:
		return 2
	}
}

// Format writes minor units with their decimals, as in 1234.50.
func Format(units int64, digits int) string {
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

// Parse reads an amount of a currency in minor units: no more decimals than it
// has, no sign, no thousands separator that could be a decimal point elsewhere.
func Parse(text, currency string) (int64, error) {
	digits := Digits(currency)
	whole, fraction, pointed := strings.Cut(text, ".")
	if !allDigits(whole) || pointed && (!allDigits(fraction) || len(fraction) > digits) {
		return 0, fmt.Errorf("%q is no amount in %s; write it as in %s", text, currency, Format(123450, digits))
	}
	for len(fraction) < digits {
		fraction += "0"
	}
	units, err := strconv.ParseInt(whole+fraction, 10, 64)
	if err != nil || units > math.MaxInt64/2 { // sums must not overflow either
		return 0, fmt.Errorf("%q is more money than can be written", text)
	}
	return units, nil
}

func allDigits(text string) bool {
	for _, r := range text {
		if r < '0' || r > '9' {
			return false
		}
	}
	return text != ""
}
