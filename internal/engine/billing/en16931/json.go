package en16931

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"

	"github.com/shopspring/decimal"
)

// WriteJSON gives the invoice as JSON: the fields of this package, numbers as
// text so that no reader makes floating point of them.
func WriteJSON(i *Invoice) ([]byte, error) {
	text, err := json.MarshalIndent(i, "", "  ")
	if err != nil {
		return nil, fmt.Errorf("writing the invoice as JSON: %w", err)
	}
	return append(text, '\n'), nil
}

// ReadJSON reads what WriteJSON wrote. An unknown field is an error, and so is a
// number that no invoice has.
func ReadJSON(data []byte) (*Invoice, error) {
	decoder := json.NewDecoder(bytes.NewReader(data))
	decoder.DisallowUnknownFields()
	var i Invoice
	if err := decoder.Decode(&i); err != nil {
		return nil, fmt.Errorf("this is no invoice as JSON: %w", err)
	}
	if _, err := decoder.Token(); !errors.Is(err, io.EOF) {
		return nil, errors.New("this is no invoice as JSON: there is more behind it")
	}
	if field := i.oversized(); field != "" {
		return nil, fmt.Errorf("%s has more digits than an invoice can carry", field)
	}
	return &i, nil
}

// oversized names a number with an exponent or a length that would fill the memory.
func (i *Invoice) oversized() string {
	found := ""
	see := func(d *decimal.Decimal, field string) {
		if d != nil && (d.Exponent() < -maxDigits || d.Exponent() > maxDigits || d.NumDigits() > maxDigits) {
			found = field
		}
	}
	c := &checker{inv: i}
	c.eachMoney(func(m *Money, field string) { see(&m.Value, field) })
	for _, t := range i.TaxTotals {
		if t.Amount != nil {
			see(&t.Amount.Value, "tax_totals.amount")
		}
		for _, b := range t.Breakdown {
			see(b.Category.Rate, "tax_totals.breakdown.category.rate")
		}
	}
	c.eachAllowance(func(a *AllowanceCharge, _ *Line, field string) {
		see(a.Percent, field+".percent")
		if a.Tax != nil {
			see(a.Tax.Rate, field+".tax.rate")
		}
	})
	for n := range i.Lines {
		l := &i.Lines[n]
		see(l.Quantity, "lines.quantity")
		see(l.Price.Per, "lines.price.per")
		see(l.Tax.Rate, "lines.tax.rate")
	}
	return found
}
