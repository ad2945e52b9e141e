// Package invoicetest makes invoices for tests: one that breaks no rule, and
// random ones of every kind that a workshop issues. All parties are invented.
package invoicetest

import (
	"github.com/shopspring/decimal"

	"ramprow/internal/engine/billing/en16931"
)

// Currency of every invoice here.
const Currency = "EUR"

// Dec reads a number; it is for literals in tests.
func Dec(text string) decimal.Decimal { return decimal.RequireFromString(text) }

// Rate is a tax category with its rate in percent; "" is none.
func Rate(code, percent string) en16931.Category {
	if percent == "" {
		return en16931.Category{Code: code}
	}
	return en16931.Category{Code: code, Rate: en16931.Number(Dec(percent))}
}

// Seller is an invented workshop. Its GLN is one of GS1's numbers for examples.
func Seller() en16931.Party {
	return en16931.Party{
		Endpoint:     &en16931.Identifier{Value: "7300010000001", Scheme: "0088"},
		TradingName:  "Werkhof Sonnrain",
		Name:         "Werkhof Sonnrain GmbH",
		Address:      &en16931.Address{Street: "Sonnrain 4", City: "Musterstadt", PostCode: "10999", Country: "DE"},
		VATID:        "DE123456789",
		Registration: &en16931.Identifier{Value: "HRB 1234"},
		ContactName:  "Office", Phone: "+49 30 0000", Email: "office@workshop.example",
	}
}

// Buyer is an invented customer.
func Buyer() en16931.Party {
	return en16931.Party{
		Endpoint: &en16931.Identifier{Value: "7300010000018", Scheme: "0088"},
		Name:     "Customer & Sons <Fleet>",
		Address:  &en16931.Address{Street: "Lane 1", City: "Example", PostCode: "1000", Country: "AT"},
		VATID:    "ATU12345678",
	}
}

// Line is a line of the fixture.
func Line(id, quantity, unit, price string, tax en16931.Category) en16931.Line {
	return en16931.Line{
		ID: id, Quantity: en16931.Number(Dec(quantity)), Unit: unit,
		Price: en16931.Price{Net: en16931.New(Dec(price), Currency)},
		Tax:   tax, Item: en16931.Item{Name: "Item " + id},
	}
}

// Good is an invoice that breaks no rule: two rates, an exempt line, an
// allowance and a charge.
func Good() *en16931.Invoice {
	inv := &en16931.Invoice{
		Specification: en16931.PeppolSpecification, Process: en16931.PeppolProcess,
		Number: "2026-000017", IssueDate: "2026-03-01", DueDate: "2026-03-15", TypeCode: en16931.TypeInvoice,
		Currency: Currency, BuyerReference: "jobs/17", Seller: Seller(), Buyer: Buyer(),
		Payments: []en16931.PaymentMeans{{Code: "58", Account: "DE02100100100006820101", Remittance: "2026-000017"}},
		Lines: []en16931.Line{
			Line("1", "90", "MIN", "1.55", Rate("S", "20")),
			Line("2", "2", "H87", "19.90", Rate("S", "10")),
			Line("3", "1", "C62", "12.00", Rate("E", "0")),
		},
	}
	discount := en16931.Percentage(false, en16931.Cents(13950, Currency), Dec("10"))
	tax := Rate("S", "20")
	discount.Tax, discount.Reason, discount.ReasonCode = &tax, "Discount", "95"
	charge := en16931.AllowanceCharge{Charge: true, Amount: en16931.Cents(450, Currency), Tax: &tax, Reason: "Disposal", ReasonCode: "AEN"}
	inv.AllowancesAndCharges = []en16931.AllowanceCharge{discount, charge}
	inv.Complete(en16931.Options{Reasons: Reasons()})
	return inv
}

// Reasons why no tax is charged, for every category that wants one.
func Reasons() map[string]en16931.Reason {
	return map[string]en16931.Reason{
		"E":  {Text: "Exempt"},
		"AE": {Text: "Reverse charge", Code: "VATEX-EU-AE"},
		"K":  {Text: "Intra-community supply", Code: "VATEX-EU-IC"},
		"G":  {Text: "Export outside the EU", Code: "VATEX-EU-G"},
		"O":  {Text: "Not subject to VAT", Code: "VATEX-EU-O"},
	}
}
