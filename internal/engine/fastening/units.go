package fastening

import (
	"fmt"
	"strings"
)

// Exact factors to N·m, from 0.45359237 kg, 0.3048 m, 0.0254 m and 9.80665 m/s²
// (NIST SP 811).
const (
	poundForce = 0.45359237 * 9.80665 // N
	poundFoot  = poundForce * 0.3048
	poundInch  = poundForce * 0.0254
	ounceInch  = poundInch / 16
	kilogram   = 9.80665 // N per kgf
)

// unitNames maps spellings, without blanks, dots and hyphens, to N·m per unit.
// Workshop literature turns them round and sets slashes where it means a product.
var unitNames = map[string]float64{
	"nm": 1, "ncm": 0.01, "dnm": 0.1, "cnm": 0.01,
	"lbfft": poundFoot, "lbft": poundFoot, "ftlb": poundFoot, "ftlbf": poundFoot, "ftlbs": poundFoot,
	"lbfin": poundInch, "lbin": poundInch, "inlb": poundInch, "inlbf": poundInch, "inlbs": poundInch,
	"ozfin": ounceInch, "ozin": ounceInch, "inoz": ounceInch,
	"kgfm": kilogram, "kgm": kilogram, "mkg": kilogram, "kpm": kilogram, "mkp": kilogram,
	"kgfcm": kilogram / 100, "kgcm": kilogram / 100, "cmkg": kilogram / 100,
}

// UnitError says that a torque unit is not known.
type UnitError struct{ Unit string }

// Error implements error.
func (e *UnitError) Error() string {
	return fmt.Sprintf("%q is no unit of torque; use N·m, lbf·ft, lbf·in, ozf·in, kgf·m or kgf·cm", e.Unit)
}

var unitMarks = strings.NewReplacer("·", "", "⋅", "", "*", "", "/", "", "-", "", ".", "", " ", "")

// newtonMetres gives N·m per unit.
func newtonMetres(unit string) (float64, error) {
	factor, ok := unitNames[strings.ToLower(unitMarks.Replace(unit))]
	if !ok {
		return 0, &UnitError{Unit: unit}
	}
	return factor, nil
}

// ToNewtonMetres converts a torque. The error is a *UnitError.
func ToNewtonMetres(value float64, unit string) (float64, error) {
	factor, err := newtonMetres(unit)
	return value * factor, err
}

// FromNewtonMetres converts a torque into a unit. The error is a *UnitError.
func FromNewtonMetres(value float64, unit string) (float64, error) {
	factor, err := newtonMetres(unit)
	if err != nil {
		return 0, err
	}
	return value / factor, nil
}

// unitAgreement is how far two printed units of one torque may differ.
const unitAgreement = 0.01

// UnitsAgree tells whether a torque printed in two units is the same within
// 1 %, as literature often slips there. The first one rules.
func UnitsAgree(value float64, unit string, other float64, otherUnit string) (bool, error) {
	a, err := ToNewtonMetres(value, unit)
	if err != nil {
		return false, err
	}
	b, err := ToNewtonMetres(other, otherUnit)
	if err != nil {
		return false, err
	}
	return b >= a*(1-unitAgreement) && b <= a*(1+unitAgreement), nil
}
