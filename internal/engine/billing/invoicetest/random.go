package invoicetest

import (
	"fmt"

	"github.com/shopspring/decimal"
	"pgregory.net/rapid"

	"ramprow/internal/engine/billing/en16931"
)

// Random draws an invoice or a credit note of any kind that a workshop issues:
// every tax category, allowances and charges of lines and of the document, base
// quantities, gross prices, part payments, cash rounding, an accounting
// currency, every kind of reference.
func Random(t *rapid.T) *en16931.Invoice {
	g := generator{t}
	mix := rapid.SampledFrom([]string{"standard", "standard", "mixed", "AE", "K", "G", "O", "L", "M"}).Draw(t, "mix")
	inv := &en16931.Invoice{
		Specification: en16931.PeppolSpecification, Process: en16931.PeppolProcess,
		Number:    fmt.Sprintf("2026-%06d", rapid.IntRange(1, 999_999).Draw(t, "number")),
		IssueDate: g.day("issued"), TypeCode: en16931.TypeInvoice, Currency: Currency,
		Seller: Seller(), Buyer: Buyer(),
	}
	g.head(inv)
	g.kind(inv)
	g.parties(inv, mix)
	g.payment(inv)
	for n := range rapid.IntRange(1, 8).Draw(t, "lines") {
		inv.Lines = append(inv.Lines, g.line(n, mix))
	}
	for range rapid.IntRange(0, 3).Draw(t, "allowances") {
		tax := g.tax(mix)
		a := g.allowance()
		a.Tax = &tax
		inv.AllowancesAndCharges = append(inv.AllowancesAndCharges, a)
	}
	options := en16931.Options{Reasons: Reasons()}
	if g.may("prepaid") {
		options.Prepaid = decimal.New(rapid.Int64Range(1, 50_000).Draw(t, "prepaid minor"), -2)
	}
	if g.may("cash") {
		options.CashUnit = Dec(rapid.SampledFrom([]string{"0.05", "0.10", "0.50", "1"}).Draw(t, "cash unit"))
	}
	inv.Complete(options)
	g.accounting(inv)
	return inv
}

type generator struct{ t *rapid.T }

func (g generator) may(what string) bool { return rapid.Bool().Draw(g.t, what) }

func (g generator) day(what string) en16931.Date {
	return en16931.Date(fmt.Sprintf("2026-%02d-%02d", rapid.IntRange(1, 12).Draw(g.t, what), rapid.IntRange(1, 28).Draw(g.t, what+" day")))
}

// text draws words with what XML must escape.
func (g generator) text(what string) string {
	return rapid.StringMatching(`[A-Za-zäöüßéł][A-Za-z0-9 &<>"'äöü€.,-]{0,30}[A-Za-z0-9.]`).Draw(g.t, what)
}

func (g generator) head(inv *en16931.Invoice) {
	if g.may("order") {
		inv.OrderReference = g.text("order")
	}
	if inv.OrderReference == "" || g.may("reference") {
		inv.BuyerReference = g.text("reference")
	}
	if inv.OrderReference != "" && g.may("sales order") {
		inv.SalesOrderReference = g.text("sales order")
	}
	if g.may("note") {
		inv.Notes = []string{g.text("note")}
	}
	if g.may("contract") {
		inv.ContractReference = g.text("contract")
	}
	if g.may("tender") {
		inv.TenderReference = g.text("tender")
	}
	if g.may("advices") {
		inv.DespatchAdvice, inv.ReceivingAdvice = g.text("despatch"), g.text("receiving")
	}
	if g.may("object") {
		inv.Object = &en16931.Identifier{Value: g.text("object"), Scheme: "ABT"}
	}
	if g.may("project") {
		inv.ProjectReference = g.text("project")
	}
	if g.may("accounting") {
		inv.AccountingReference = g.text("accounting")
	}
	if g.may("period") {
		inv.Period = &en16931.Period{Start: "2026-01-01", End: "2026-12-28"}
	}
	if g.may("document") {
		inv.Documents = []en16931.Document{{ID: g.text("document"), Description: g.text("about"), FileName: "sheet.csv", MediaType: "text/csv", Content: []byte("a,b\n1,2\n")}}
	}
}

// kind makes a credit note of it, or a negative invoice's due date and terms.
func (g generator) kind(inv *en16931.Invoice) {
	if g.may("credit") {
		inv.Credit, inv.TypeCode = true, en16931.TypeCreditNote
	}
	if inv.Credit || g.may("preceding") {
		inv.Preceding = []en16931.Preceding{{Number: g.text("preceding"), IssueDate: g.day("preceding date")}}
	}
	if g.may("due") {
		inv.DueDate = g.day("due")
	}
	if inv.DueDate == "" || inv.Credit || g.may("terms") {
		inv.PaymentTerms = g.text("terms")
	}
}

func (g generator) parties(inv *en16931.Invoice, mix string) {
	switch mix {
	case "O":
		inv.Seller.VATID, inv.Buyer.VATID = "", ""
	case "K":
		inv.Delivery = &en16931.Delivery{Date: g.day("delivered"), Address: &en16931.Address{City: "Example", Country: "AT"}}
	case "standard":
		if g.may("private") {
			inv.Buyer.VATID = ""
		}
	}
	if mix != "O" && g.may("tax registration") {
		inv.Seller.TaxID = "37/123/4567"
	}
	if g.may("identifiers") {
		inv.Buyer.Identifiers = []en16931.Identifier{{Value: "7300010000018", Scheme: "0088"}}
		inv.Buyer.ContactName, inv.Buyer.Email = g.text("contact"), "buyer@customer.example"
	}
	if g.may("address") {
		inv.Buyer.Address.Additional, inv.Buyer.Address.ThirdLine, inv.Buyer.Address.Subdivision = g.text("additional"), g.text("third"), g.text("region")
	}
	if g.may("payee") {
		inv.Payee = &en16931.Payee{Name: "Factoring Example AG", Identifier: &en16931.Identifier{Value: "7300010000032", Scheme: "0088"}}
	}
	if mix != "O" && g.may("representative") {
		inv.Representative = &en16931.Party{Name: "Tax Office Example", VATID: "FR12345678901", Address: &en16931.Address{City: "Example", Country: "FR"}}
	}
	if inv.Delivery == nil && g.may("delivery") {
		inv.Delivery = &en16931.Delivery{Date: g.day("delivered"), Name: g.text("place")}
	}
}

func (g generator) payment(inv *en16931.Invoice) {
	p := en16931.PaymentMeans{Code: rapid.SampledFrom([]string{"30", "58", "48", "10", "59", "1"}).Draw(g.t, "means")}
	switch p.Code {
	case "30", "58":
		p.Account, p.AccountName, p.Provider = "DE02100100100006820101", g.text("holder"), "QUELDEF1ABC"
		p.Remittance = inv.Number
	case "48":
		p.Card, p.CardNetwork = "1234", "NA"
	case "59":
		p.Mandate, p.DebitAccount = "M-17", "AT611904300234573201"
	}
	if g.may("means text") {
		p.Text = g.text("means text")
	}
	inv.Payments = []en16931.PaymentMeans{p}
}

// accounting adds the tax in another currency.
func (g generator) accounting(inv *en16931.Invoice) {
	if !g.may("accounting currency") {
		return
	}
	inv.TaxCurrency = "SEK"
	tax := inv.TaxTotals[0].Amount.Value.Mul(Dec("11.35")).Round(2)
	inv.TaxTotals = append(inv.TaxTotals, en16931.TaxTotal{Amount: en16931.New(tax, "SEK")})
}
