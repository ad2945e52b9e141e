package en16931_test

import (
	"slices"
	"testing"

	"pgregory.net/rapid"

	"ramprow/internal/engine/billing/en16931"
	"ramprow/internal/engine/billing/invoicetest"
)

func TestGoodInvoiceBreaksNothing(t *testing.T) {
	if findings := en16931.Check(invoicetest.Good()); len(findings) > 0 {
		t.Fatal(findings)
	}
}

// Random invoices and credit notes of all kinds break nothing once completed.
func TestRandomInvoicesBreakNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		if findings := en16931.Check(invoicetest.Random(t)); len(findings) > 0 {
			t.Fatal(findings)
		}
	})
}

// Each change breaks the rule that is named for it (rule numbers and fields of
// EN 16931-1:2017 and Peppol BIS Billing 3.0), and the good invoice breaks none.
func TestEachRule(t *testing.T) {
	zero := invoicetest.Dec("0")
	tests := []struct {
		rule, field string
		change      func(i *en16931.Invoice)
	}{
		{"BR-01", "specification (BT-24)", func(i *en16931.Invoice) { i.Specification = "" }},
		{"BR-02", "number (BT-1)", func(i *en16931.Invoice) { i.Number = "" }},
		{"BR-03", "issue_date (BT-2)", func(i *en16931.Invoice) { i.IssueDate = "" }},
		{"BR-04", "type_code (BT-3)", func(i *en16931.Invoice) { i.TypeCode = "" }},
		{"BR-05", "currency (BT-5)", func(i *en16931.Invoice) { i.Currency = "" }},
		{"BR-CL-08", "notes[0] (BT-22)", func(i *en16931.Invoice) { i.Notes = []string{"as agreed #XQX# by phone"} }},
		{"BR-06", "seller.name (BT-27)", func(i *en16931.Invoice) { i.Seller.Name = "" }},
		{"BR-07", "buyer.name (BT-44)", func(i *en16931.Invoice) { i.Buyer.Name = "" }},
		{"BR-08", "seller.address (BG-5)", func(i *en16931.Invoice) { i.Seller.Address = nil }},
		{"BR-09", "seller.address.country (BT-40)", func(i *en16931.Invoice) { i.Seller.Address.Country = "" }},
		{"BR-10", "buyer.address (BG-8)", func(i *en16931.Invoice) { i.Buyer.Address = nil }},
		{"BR-11", "buyer.address.country (BT-55)", func(i *en16931.Invoice) { i.Buyer.Address.Country = "" }},
		{"BR-12", "totals.lines (BT-106)", func(i *en16931.Invoice) { i.Totals.Lines = nil }},
		{"BR-13", "totals.net (BT-109)", func(i *en16931.Invoice) { i.Totals.Net = nil }},
		{"BR-14", "totals.gross (BT-112)", func(i *en16931.Invoice) { i.Totals.Gross = nil }},
		{"BR-15", "totals.payable (BT-115)", func(i *en16931.Invoice) { i.Totals.Payable = nil }},
		{"BR-16", "lines (BG-25)", func(i *en16931.Invoice) { i.Lines = nil }},
		{"BR-17", "payee.name (BT-59)", func(i *en16931.Invoice) { i.Payee = &en16931.Payee{Name: i.Seller.Name} }},
		{"BR-18", "tax_representative.name (BT-62)", func(i *en16931.Invoice) { i.Representative = &en16931.Party{} }},
		{"BR-21", "lines[1].id (BT-126)", func(i *en16931.Invoice) { i.Lines[1].ID = "" }},
		{"BR-22", "lines[1].quantity (BT-129)", func(i *en16931.Invoice) { i.Lines[1].Quantity = nil }},
		{"BR-23", "lines[1].unit (BT-130)", func(i *en16931.Invoice) { i.Lines[1].Unit = "" }},
		{"BR-24", "lines[1].net (BT-131)", func(i *en16931.Invoice) { i.Lines[1].Net = nil }},
		{"BR-25", "lines[1].item.name (BT-153)", func(i *en16931.Invoice) { i.Lines[1].Item.Name = "" }},
		{"BR-26", "lines[1].price.net (BT-146)", func(i *en16931.Invoice) { i.Lines[1].Price.Net = nil }},
		{"BR-27", "lines[1].price.net (BT-146)", func(i *en16931.Invoice) { i.Lines[1].Price.Net.Value = invoicetest.Dec("-1") }},
		{"BR-28", "lines[1].price.gross (BT-148)", func(i *en16931.Invoice) { i.Lines[1].Price.Gross = en16931.Cents(-1, "EUR") }},
		{"BR-29", "period (BG-14)", func(i *en16931.Invoice) { i.Period = &en16931.Period{Start: "2026-03-02", End: "2026-03-01"} }},
		{"BR-30", "lines[0].period (BG-26)", func(i *en16931.Invoice) { i.Lines[0].Period = &en16931.Period{Start: "2026-03-02", End: "2026-03-01"} }},
		{"BR-31", "allowances_and_charges[0].amount (BT-92)", func(i *en16931.Invoice) { i.AllowancesAndCharges[0].Amount = nil }},
		{"BR-32", "allowances_and_charges[0].tax.code (BT-95)", func(i *en16931.Invoice) { i.AllowancesAndCharges[0].Tax = nil }},
		{"BR-33", "allowances_and_charges[0].reason (BT-97)", func(i *en16931.Invoice) {
			i.AllowancesAndCharges[0].Reason, i.AllowancesAndCharges[0].ReasonCode = "", ""
		}},
		{"BR-36", "allowances_and_charges[1].amount (BT-99)", func(i *en16931.Invoice) { i.AllowancesAndCharges[1].Amount = nil }},
		{"BR-48", "tax_totals[0].breakdown[0].category.rate (BT-119)", func(i *en16931.Invoice) { i.TaxTotals[0].Breakdown[0].Category.Rate = nil }},
		{"BR-49", "payment_means[0].code (BT-81)", func(i *en16931.Invoice) { i.Payments[0].Code = "" }},
		{"BR-53", "tax_totals (BT-111)", func(i *en16931.Invoice) { i.TaxCurrency = "SEK" }},
		{"BR-55", "preceding_invoices[0].number (BT-25)", func(i *en16931.Invoice) { i.Preceding = []en16931.Preceding{{}} }},
		{"BR-57", "delivery.address.country (BT-80)", func(i *en16931.Invoice) { i.Delivery = &en16931.Delivery{Address: &en16931.Address{}} }},
		{"BR-61", "payment_means[0].account (BT-84)", func(i *en16931.Invoice) { i.Payments[0].Account = "" }},
		{"BR-62", "seller.endpoint.scheme (BT-34)", func(i *en16931.Invoice) { i.Seller.Endpoint.Scheme = "" }},
		{"BR-63", "buyer.endpoint.scheme (BT-49)", func(i *en16931.Invoice) { i.Buyer.Endpoint.Scheme = "" }},
		{"BR-CO-03", "tax_point_date (BT-7)", func(i *en16931.Invoice) { i.TaxPointDate, i.TaxPointCode = "2026-03-01", "35" }},
		{"BR-CO-04", "lines[0].tax.code (BT-151)", func(i *en16931.Invoice) { i.Lines[0].Tax.Code = "" }},
		{"BR-CO-09", "seller.vat_id (BT-31)", func(i *en16931.Invoice) { i.Seller.VATID = "123456789" }},
		{"BR-CO-10", "totals.lines (BT-106)", func(i *en16931.Invoice) { i.Totals.Lines = en16931.Cents(1, "EUR") }},
		{"BR-CO-11", "totals.allowances (BT-107)", func(i *en16931.Invoice) { i.Totals.Allowances = nil }},
		{"BR-CO-12", "totals.charges (BT-108)", func(i *en16931.Invoice) { i.Totals.Charges = en16931.Cents(1, "EUR") }},
		{"BR-CO-13", "totals.net (BT-109)", func(i *en16931.Invoice) { i.Totals.Net = en16931.Cents(1, "EUR") }},
		{"BR-CO-14", "tax_totals[0].amount (BT-110)", func(i *en16931.Invoice) { i.TaxTotals[0].Amount = en16931.Cents(1, "EUR") }},
		{"BR-CO-15", "totals.gross (BT-112)", func(i *en16931.Invoice) { i.Totals.Gross = en16931.Cents(1, "EUR") }},
		{"BR-CO-16", "totals.payable (BT-115)", func(i *en16931.Invoice) { i.Totals.Payable = en16931.Cents(1, "EUR") }},
		{"BR-CO-17", "tax_totals[0].breakdown[1].tax (BT-117)", func(i *en16931.Invoice) { i.TaxTotals[0].Breakdown[1].Tax = en16931.Cents(1, "EUR") }},
		{"BR-CO-18", "tax_totals (BG-23)", func(i *en16931.Invoice) { i.TaxTotals = nil }},
		{"BR-CO-25", "due_date (BT-9)", func(i *en16931.Invoice) { i.DueDate = "" }},
		{"BR-CO-26", "seller.vat_id (BT-31)", func(i *en16931.Invoice) { i.Seller.VATID, i.Seller.Registration = "", nil }},
		{"BR-S-01", "tax_totals (BG-23)", func(i *en16931.Invoice) { i.TaxTotals[0].Breakdown = i.TaxTotals[0].Breakdown[:1] }},
		{"BR-S-02", "seller.vat_id (BT-31)", func(i *en16931.Invoice) { i.Seller.VATID = "" }},
		{"BR-S-03", "seller.vat_id (BT-31)", func(i *en16931.Invoice) { i.Seller.VATID = "" }},
		{"BR-S-05", "lines[0].tax.rate (BT-152)", func(i *en16931.Invoice) { i.Lines[0].Tax.Rate = &zero }},
		{"BR-S-08", "tax_totals[0].breakdown[1].taxable (BT-116)", func(i *en16931.Invoice) { i.TaxTotals[0].Breakdown[1].Taxable = en16931.Cents(1, "EUR") }},
		{"BR-S-10", "tax_totals[0].breakdown[1].exemption_reason (BT-120)", func(i *en16931.Invoice) { i.TaxTotals[0].Breakdown[1].ExemptionReason = "why" }},
		{"BR-E-10", "tax_totals[0].breakdown[0].exemption_reason (BT-120)", func(i *en16931.Invoice) { i.TaxTotals[0].Breakdown[0].ExemptionReason = "" }},
		{"BR-AE-02", "buyer.vat_id (BT-48)", func(i *en16931.Invoice) { all(i, "AE", "0"); i.Buyer.VATID = "" }},
		{"BR-AE-05", "lines[0].tax.rate (BT-152)", func(i *en16931.Invoice) { all(i, "AE", "20") }},
		{"BR-IC-11", "delivery.date (BT-72)", func(i *en16931.Invoice) { all(i, "K", "0") }},
		{"BR-IC-12", "delivery.address.country (BT-80)", func(i *en16931.Invoice) { all(i, "K", "0") }},
		{"BR-G-02", "seller.vat_id (BT-31)", func(i *en16931.Invoice) { all(i, "G", "0"); i.Seller.VATID = "" }},
		{"BR-O-02", "seller.vat_id (BT-31)", func(i *en16931.Invoice) { all(i, "O", "") }},
		{"BR-O-05", "lines[0].tax.rate (BT-152)", func(i *en16931.Invoice) { all(i, "O", "0") }},
		{"BR-O-12", "lines[0].tax.code (BT-151)", func(i *en16931.Invoice) {
			i.Lines[1].Tax = invoicetest.Rate("O", "")
			i.Complete(en16931.Options{Reasons: invoicetest.Reasons()})
		}},
		{"BR-B-01", "lines.tax.code (BT-151)", func(i *en16931.Invoice) { i.Lines[0].Tax.Code = "B" }},
		{"BR-DEC-23", "lines[0].net (BT-131)", func(i *en16931.Invoice) { i.Lines[0].Net.Value = invoicetest.Dec("139.500") }},
		{"BR-DEC-01", "allowances_and_charges[0].amount (BT-92)", func(i *en16931.Invoice) { i.AllowancesAndCharges[0].Amount.Value = invoicetest.Dec("1.001") }},
		{"AMOUNT_RANGE", "lines[0].net (BT-131)", func(i *en16931.Invoice) { i.Lines[0].Net.Value = invoicetest.Dec("1000000000000") }},
		{"BR-CL-01", "type_code (BT-3)", func(i *en16931.Invoice) { i.TypeCode = "381" }},
		{"BR-CL-04", "currency (BT-5)", func(i *en16931.Invoice) { i.Currency = "EURO" }},
		{"BR-CL-03", "lines[0].net (BT-131).currency", func(i *en16931.Invoice) { i.Lines[0].Net.Currency = "XYZ" }},
		{"BR-CL-14", "buyer.address.country", func(i *en16931.Invoice) { i.Buyer.Address.Country = "UK" }},
		{"BR-CL-16", "payment_means[0].code (BT-81)", func(i *en16931.Invoice) { i.Payments[0].Code = "99" }},
		{"BR-CL-17", "tax_totals[0].breakdown[0].category.code (BT-118)", func(i *en16931.Invoice) { i.TaxTotals[0].Breakdown[0].Category.Code = "X" }},
		{"BR-CL-18", "lines[0].tax.code (BT-151)", func(i *en16931.Invoice) { i.Lines[0].Tax.Code = "X" }},
		{"BR-CL-19", "allowances_and_charges[0].reason_code", func(i *en16931.Invoice) { i.AllowancesAndCharges[0].ReasonCode = "AA" }},
		{"BR-CL-20", "allowances_and_charges[1].reason_code", func(i *en16931.Invoice) { i.AllowancesAndCharges[1].ReasonCode = "95" }},
		{"BR-CL-22", "tax_totals[0].breakdown[0].exemption_reason_code (BT-121)", func(i *en16931.Invoice) { i.TaxTotals[0].Breakdown[0].ExemptionReasonCode = "E" }},
		{"BR-CL-23", "lines[0].unit (BT-130)", func(i *en16931.Invoice) { i.Lines[0].Unit = "hour" }},
		{"BR-CL-25", "seller.endpoint.scheme", func(i *en16931.Invoice) { i.Seller.Endpoint.Scheme = "9999" }},
		{"PEPPOL-EN16931-R001", "process (BT-23)", func(i *en16931.Invoice) { i.Process = "" }},
		{"PEPPOL-EN16931-R002", "notes (BG-1)", func(i *en16931.Invoice) { i.Notes = []string{"a", "b"} }},
		{"PEPPOL-EN16931-R003", "buyer_reference (BT-10)", func(i *en16931.Invoice) { i.BuyerReference = "" }},
		{"PEPPOL-EN16931-R004", "specification (BT-24)", func(i *en16931.Invoice) { i.Specification = "urn:cen.eu:en16931:2017" }},
		{"PEPPOL-EN16931-R005", "tax_currency (BT-6)", func(i *en16931.Invoice) { i.TaxCurrency = "EUR" }},
		{"PEPPOL-EN16931-R007", "process (BT-23)", func(i *en16931.Invoice) { i.Process = "billing" }},
		{"PEPPOL-EN16931-R010", "buyer.endpoint (BT-49)", func(i *en16931.Invoice) { i.Buyer.Endpoint = nil }},
		{"PEPPOL-EN16931-R020", "seller.endpoint (BT-34)", func(i *en16931.Invoice) { i.Seller.Endpoint = nil }},
		{"PEPPOL-EN16931-R040", "allowances_and_charges[0].amount", func(i *en16931.Invoice) { i.AllowancesAndCharges[0].Amount.Value = invoicetest.Dec("13.92") }},
		{"PEPPOL-EN16931-R041", "allowances_and_charges[0].base", func(i *en16931.Invoice) { i.AllowancesAndCharges[0].Base = nil }},
		{"PEPPOL-EN16931-R042", "allowances_and_charges[0].percent", func(i *en16931.Invoice) { i.AllowancesAndCharges[0].Percent = nil }},
		{"PEPPOL-EN16931-R046", "lines[0].price.net (BT-146)", func(i *en16931.Invoice) { i.Lines[0].Price.Gross = en16931.Cents(1, "EUR") }},
		{"PEPPOL-EN16931-R051", "lines[0].net (BT-131).currency", func(i *en16931.Invoice) { i.Lines[0].Net.Currency = "SEK" }},
		{"PEPPOL-EN16931-R053", "tax_totals", func(i *en16931.Invoice) { i.TaxTotals = append(i.TaxTotals, i.TaxTotals[0]) }},
		{"PEPPOL-EN16931-R054", "tax_totals", func(i *en16931.Invoice) {
			i.TaxTotals = append(i.TaxTotals, en16931.TaxTotal{Amount: en16931.Cents(1, "SEK")})
		}},
		{"PEPPOL-EN16931-R061", "payment_means[0].mandate (BT-89)", func(i *en16931.Invoice) { i.Payments[0].Code = "59" }},
		{"PEPPOL-EN16931-R120", "lines[0].net (BT-131)", func(i *en16931.Invoice) { i.Lines[0].Net.Value = invoicetest.Dec("139.53") }},
		{"PEPPOL-EN16931-R121", "lines[0].price.per (BT-149)", func(i *en16931.Invoice) { i.Lines[0].Price.Per = &zero }},
		{"PEPPOL-EN16931-R130", "lines[0].price.per_unit (BT-150)", func(i *en16931.Invoice) { i.Lines[0].Price.PerUnit = "HUR" }},
		{"PEPPOL-EN16931-P0100", "type_code (BT-3)", func(i *en16931.Invoice) { i.TypeCode = "325" }},
		{"PEPPOL-EN16931-P0107", "tax_totals[0].breakdown[0].category.code (BT-118)", func(i *en16931.Invoice) { i.TaxTotals[0].Breakdown[0].ExemptionReasonCode = "VATEX-EU-AE" }},
		{"PEPPOL-EN16931-P0112", "type_code (BT-3)", func(i *en16931.Invoice) { i.TypeCode = "384" }},
		{"PEPPOL-EN16931-F001", "due_date (BT-9)", func(i *en16931.Invoice) { i.DueDate = "2026-02-30" }},
		{"PEPPOL-EN16931-CL008", "seller.endpoint.scheme", func(i *en16931.Invoice) { i.Seller.Endpoint.Scheme = "EM" }},
		{"PEPPOL-COMMON-R040", "buyer.endpoint", func(i *en16931.Invoice) { i.Buyer.Endpoint.Value = "7300010000017" }},
		{"UBL-SR-47", "payment_means[1].code (BT-81)", func(i *en16931.Invoice) { i.Payments = append(i.Payments, en16931.PaymentMeans{Code: "10"}) }},
	}
	for _, tt := range tests {
		t.Run(tt.rule, func(t *testing.T) {
			inv := invoicetest.Good()
			tt.change(inv)
			findings := en16931.Check(inv)
			found := slices.ContainsFunc(findings, func(f en16931.Finding) bool { return f.Rule == tt.rule && f.Field == tt.field })
			if !found || en16931.Valid(findings) {
				t.Errorf("%s %s is not found; findings:\n%v", tt.rule, tt.field, findings)
			}
		})
	}
}

// all gives everything one tax category and completes the invoice again.
func all(i *en16931.Invoice, code, percent string) {
	tax := invoicetest.Rate(code, percent)
	for n := range i.Lines {
		i.Lines[n].Tax = tax
	}
	for n := range i.AllowancesAndCharges {
		i.AllowancesAndCharges[n].Tax = &tax
	}
	i.Complete(en16931.Options{Reasons: invoicetest.Reasons()})
}
