package billing

import (
	"cmp"
	"fmt"
	"slices"
)

// BasisPoints is a rate in hundredths of a percent: 2000 is 20 %.
type BasisPoints int64

const whole = 10_000 // basis points of 100 %

// Line is one line of an invoice, without tax.
type Line struct {
	Net      Amount
	Category string // UNCL 5305: S standard, Z zero, E exempt …
	Rate     BasisPoints
}

// Price is what a quantity costs: Amount for Per units.
type Price struct {
	Amount Amount
	Per    int64 // 0 means 1
}

// Of gives the net amount of a quantity, rounded half away from zero.
func (p Price) Of(quantity int64) (Amount, error) {
	per := p.Per
	if per == 0 {
		per = 1
	}
	return MulDiv(p.Amount, quantity, per)
}

// TaxGroup is the tax of one category and rate.
type TaxGroup struct {
	Category string
	Rate     BasisPoints
	Taxable  Amount
	Tax      Amount
}

// Totals are an invoice's sums.
type Totals struct {
	Groups []TaxGroup // by category, then rate
	Net    Amount
	Tax    Amount
	Gross  Amount
}

// Error says which rule a value breaks.
type Error struct {
	Rule  string
	Field string
	Text  string
}

// Error implements error.
func (e *Error) Error() string { return fmt.Sprintf("%s: %s %s", e.Rule, e.Field, e.Text) }

// Total computes tax and totals from the lines. An invoice without lines, a
// line without a category or with a rate outside 0 to 100 % is an *Error.
func Total(lines []Line) (Totals, error) {
	if len(lines) == 0 {
		return Totals{}, &Error{Rule: "BR-16", Field: "lines", Text: "an invoice needs at least one line"}
	}
	var t Totals
	for i, line := range lines {
		if err := check(i, line); err != nil {
			return Totals{}, err
		}
		t.Net += line.Net
		t.group(line).Taxable += line.Net
	}
	for i := range t.Groups {
		g := &t.Groups[i]
		tax, err := MulDiv(g.Taxable, int64(g.Rate), whole)
		if err != nil {
			return Totals{}, err
		}
		g.Tax = tax
		t.Tax += tax
	}
	slices.SortFunc(t.Groups, func(a, b TaxGroup) int {
		return cmp.Or(cmp.Compare(a.Category, b.Category), cmp.Compare(a.Rate, b.Rate))
	})
	t.Gross = t.Net + t.Tax
	return t, nil
}

// group finds the group of a line's category and rate, and makes it if it is new.
func (t *Totals) group(line Line) *TaxGroup {
	for i := range t.Groups {
		if g := &t.Groups[i]; g.Category == line.Category && g.Rate == line.Rate {
			return g
		}
	}
	t.Groups = append(t.Groups, TaxGroup{Category: line.Category, Rate: line.Rate})
	return &t.Groups[len(t.Groups)-1]
}

func check(i int, line Line) error {
	field := fmt.Sprintf("lines[%d]", i)
	switch {
	case line.Category == "":
		return &Error{Rule: "BR-CO-4", Field: field + ".category", Text: "names no tax category"}
	case line.Rate < 0 || line.Rate > whole:
		return &Error{Rule: "TAX_RATE_RANGE", Field: field + ".rate", Text: "must lie between 0 and 100 percent"}
	case line.Net > MaxAmount || line.Net < -MaxAmount:
		return &Error{Rule: "AMOUNT_RANGE", Field: field + ".net", Text: "is beyond what an invoice can carry"}
	}
	return nil
}
