package desk

import (
	"math"
	"strconv"
	"strings"

	"golang.org/x/text/currency"

	commonv1 "ramprow/proto/ramprow/common/v1"
)

// money reads an amount exactly: digits, and a point or a comma before no more
// decimals than the currency has.
func (v *visit) money(name, code string) (*commonv1.Money, error) {
	unit, err := currency.ParseISO(code)
	if err != nil {
		return nil, badField("currency", "must be a code of ISO 4217, as EUR")
	}
	digits, _ := currency.Standard.Rounding(unit)
	whole, fraction, pointed := strings.Cut(strings.Replace(v.form(name), ",", ".", 1), ".")
	if pointed && fraction == "" || len(fraction) > digits {
		return nil, badField(name, "must be an amount, as 420 or 420.50")
	}
	fraction += strings.Repeat("0", digits-len(fraction))
	units, err := strconv.ParseUint(whole+fraction, 10, 62)
	if err != nil || whole == "" || units > math.MaxInt64/2 {
		return nil, badField(name, "must be an amount, as 420 or 420.50")
	}
	return &commonv1.Money{MinorUnits: int64(units), CurrencyCode: unit.String()}, nil
}
