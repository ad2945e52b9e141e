// Package invoicepage writes an invoice as a page for people: one HTML file
// without scripts or foreign parts, that prints on A4.
//
// The page shows what the structured document says and adds nothing, so that
// both are the same invoice.
package invoicepage

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"

	"github.com/shopspring/decimal"

	"ramprow/internal/engine/billing/en16931"
)

//go:embed page.html
var source string

var page = template.Must(template.New("invoice").Funcs(template.FuncMap{
	"money":  money,
	"number": number,
	"title":  title,
	"tax":    tax,
	"unit":   unit,
}).Parse(source))

// Write gives the page in UTF-8.
func Write(i *en16931.Invoice) ([]byte, error) {
	var b bytes.Buffer
	if err := page.Execute(&b, i); err != nil {
		return nil, fmt.Errorf("writing the invoice's page: %w", err)
	}
	return b.Bytes(), nil
}

func title(i *en16931.Invoice) string {
	if i.Credit {
		return "Credit note"
	}
	return "Invoice"
}

// money is an amount with its currency, at least two decimals.
func money(m *en16931.Money) string {
	if m == nil {
		return ""
	}
	if m.Value.Exponent() < -2 {
		return m.Value.String() + " " + m.Currency
	}
	return m.Value.StringFixed(2) + " " + m.Currency
}

func number(d *decimal.Decimal) string {
	if d == nil {
		return ""
	}
	return d.String()
}

// tax is a category with its rate, as in S 20 %.
func tax(c en16931.Category) string {
	if c.Rate == nil {
		return c.Code
	}
	return fmt.Sprintf("%s %s %%", c.Code, c.Rate)
}
