package en16931

import (
	"strings"

	"github.com/shopspring/decimal"
)

// maxDigits bounds what is read, so that a number in a file cannot fill the memory.
const maxDigits = 30

// limit is 10^12: an amount of that size is a slip of the keyboard or an attack.
var limit = decimal.New(1, 12)

var hundred = decimal.New(1, 2)

// ParseNumber reads a number as XML Schema's decimal writes it: sign, digits,
// point. No exponent, no thousands' separator.
func ParseNumber(text string) (decimal.Decimal, bool) {
	digits := strings.TrimLeft(text, "+-")
	if len(text)-len(digits) > 1 || len(digits) == 0 || len(digits) > maxDigits {
		return decimal.Decimal{}, false
	}
	seen, points := 0, 0
	for _, r := range digits {
		switch {
		case r >= '0' && r <= '9':
			seen++
		case r == '.':
			points++
		default:
			return decimal.Decimal{}, false
		}
	}
	if seen == 0 || points > 1 {
		return decimal.Decimal{}, false
	}
	number, err := decimal.NewFromString(strings.TrimSuffix(strings.TrimPrefix(text, "+"), "."))
	return number, err == nil
}

// Round rounds to whole cents, half away from zero.
func Round(d decimal.Decimal) decimal.Decimal { return d.Round(2) }

// RoundTo rounds to a multiple of a cash unit, as 0.05, half away from zero.
func RoundTo(d, unit decimal.Decimal) decimal.Decimal {
	if unit.Sign() <= 0 {
		return Round(d)
	}
	// The quotient's own digits do not matter: twice the rest against the unit decides exactly.
	whole, rest := d.Abs().QuoRem(unit, 0)
	if rest.Add(rest).Cmp(unit) >= 0 {
		whole = whole.Add(decimal.New(1, 0))
	}
	rounded := whole.Mul(unit)
	if d.Sign() < 0 {
		return rounded.Neg()
	}
	return rounded
}

// product is a*b/c rounded to cents: exact before the rounding, also where the
// quotient has no end. c is positive.
func product(a, b, c decimal.Decimal) decimal.Decimal {
	exact := a.Mul(b)
	quotient, rest := exact.QuoRem(c, 2)
	// rest has the sign of the product; a tie and more goes away from zero.
	if rest.Abs().Mul(decimal.New(2, 0)).Cmp(c.Mul(decimal.New(1, -2))) >= 0 {
		step := decimal.New(1, -2)
		if exact.Sign() < 0 {
			step = step.Neg()
		}
		quotient = quotient.Add(step)
	}
	return quotient
}

// percentOf is base times rate over 100, rounded to cents.
func percentOf(base, rate decimal.Decimal) decimal.Decimal { return product(base, rate, hundred) }

// val is the amount's value, zero if there is none.
func val(m *Money) decimal.Decimal {
	if m == nil {
		return decimal.Decimal{}
	}
	return m.Value
}

// num is the number, zero if there is none.
func num(d *decimal.Decimal) decimal.Decimal {
	if d == nil {
		return decimal.Decimal{}
	}
	return *d
}

// New gives an amount.
func New(value decimal.Decimal, currency string) *Money {
	return &Money{Value: value, Currency: currency}
}

// Cents gives an amount of whole minor units of a currency with two decimals.
func Cents(minor int64, currency string) *Money { return New(decimal.New(minor, -2), currency) }

// Number gives a pointer to a number.
func Number(d decimal.Decimal) *decimal.Decimal { return &d }
