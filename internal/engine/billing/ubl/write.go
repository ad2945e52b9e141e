package ubl

import (
	"bytes"
	"encoding/base64"
	"strconv"

	"github.com/shopspring/decimal"

	"ramprow/internal/engine/billing/en16931"
)

// Write gives the document as UBL 2.1 in UTF-8.
func Write(i *en16931.Invoice) []byte {
	w := writer{i}
	root := &node{name: "Invoice", attrs: []attr{{"xmlns", nsInvoice}}}
	if i.Credit {
		root = &node{name: "CreditNote", attrs: []attr{{"xmlns", nsCreditNote}}}
	}
	root.attrs = append(root.attrs, attr{"xmlns:cac", nsAggregate}, attr{"xmlns:cbc", nsBasic})
	w.head(root)
	w.references(root)
	w.party(root.group("cac:AccountingSupplierParty").group("cac:Party"), &i.Seller)
	w.party(root.group("cac:AccountingCustomerParty").group("cac:Party"), &i.Buyer)
	w.payee(root)
	w.representative(root)
	w.delivery(root)
	w.payments(root)
	for n := range i.AllowancesAndCharges {
		w.allowance(root, &i.AllowancesAndCharges[n])
	}
	w.taxes(root)
	w.totals(root)
	for n := range i.Lines {
		w.line(root, &i.Lines[n])
	}
	var b bytes.Buffer
	b.WriteString("<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n")
	root.render(&b, 0)
	return b.Bytes()
}

type writer struct{ inv *en16931.Invoice }

// head: the two documents put the tax point and the type in different order,
// and only an invoice has a due date of its own.
func (w writer) head(root *node) {
	i := w.inv
	root.add("cbc:CustomizationID", i.Specification)
	root.add("cbc:ProfileID", i.Process)
	root.add("cbc:ID", i.Number)
	root.add("cbc:IssueDate", string(i.IssueDate))
	if i.Credit {
		root.add("cbc:TaxPointDate", string(i.TaxPointDate))
		root.add("cbc:CreditNoteTypeCode", i.TypeCode)
		w.notes(root)
	} else {
		root.add("cbc:DueDate", string(i.DueDate))
		root.add("cbc:InvoiceTypeCode", i.TypeCode)
		w.notes(root)
		root.add("cbc:TaxPointDate", string(i.TaxPointDate))
	}
	root.add("cbc:DocumentCurrencyCode", i.Currency)
	root.add("cbc:TaxCurrencyCode", i.TaxCurrency)
	root.add("cbc:AccountingCost", i.AccountingReference)
	root.add("cbc:BuyerReference", i.BuyerReference)
	period := root.group("cac:InvoicePeriod")
	addPeriod(period, i.Period)
	period.add("cbc:DescriptionCode", i.TaxPointCode)
}

func (w writer) notes(root *node) {
	for _, note := range w.inv.Notes {
		root.add("cbc:Note", note)
	}
}

func addPeriod(n *node, p *en16931.Period) {
	if p != nil {
		n.add("cbc:StartDate", string(p.Start))
		n.add("cbc:EndDate", string(p.End))
	}
}

// noOrder stands for the buyer's order where only the seller's is known; UBL wants one.
const noOrder = "NA"

func (w writer) references(root *node) {
	i := w.inv
	order := root.group("cac:OrderReference")
	if i.OrderReference == "" && i.SalesOrderReference != "" {
		order.add("cbc:ID", noOrder)
	}
	order.add("cbc:ID", i.OrderReference)
	order.add("cbc:SalesOrderID", i.SalesOrderReference)
	for _, p := range i.Preceding {
		before := root.group("cac:BillingReference").group("cac:InvoiceDocumentReference")
		before.add("cbc:ID", p.Number)
		before.add("cbc:IssueDate", string(p.IssueDate))
	}
	root.group("cac:DespatchDocumentReference").add("cbc:ID", i.DespatchAdvice)
	root.group("cac:ReceiptDocumentReference").add("cbc:ID", i.ReceivingAdvice)
	if !i.Credit {
		root.group("cac:OriginatorDocumentReference").add("cbc:ID", i.TenderReference)
	}
	root.group("cac:ContractDocumentReference").add("cbc:ID", i.ContractReference)
	w.documents(root)
	if i.Credit {
		root.group("cac:OriginatorDocumentReference").add("cbc:ID", i.TenderReference)
	} else {
		root.group("cac:ProjectReference").add("cbc:ID", i.ProjectReference)
	}
}

// Types of document by which UBL tells an invoiced object and, in a credit note,
// a project from supporting documents (UNTDID 1001).
const (
	typeObject  = "130"
	typeProject = "50"
)

func (w writer) documents(root *node) {
	i := w.inv
	if i.Object != nil {
		object := root.group("cac:AdditionalDocumentReference")
		object.add("cbc:ID", i.Object.Value, attr{"schemeID", i.Object.Scheme})
		object.add("cbc:DocumentTypeCode", typeObject)
	}
	if i.Credit && i.ProjectReference != "" {
		project := root.group("cac:AdditionalDocumentReference")
		project.add("cbc:ID", i.ProjectReference)
		project.add("cbc:DocumentTypeCode", typeProject)
	}
	for _, d := range i.Documents {
		document := root.group("cac:AdditionalDocumentReference")
		document.add("cbc:ID", d.ID)
		document.add("cbc:DocumentDescription", d.Description)
		attachment := document.group("cac:Attachment")
		if len(d.Content) > 0 {
			attachment.add("cbc:EmbeddedDocumentBinaryObject", base64.StdEncoding.EncodeToString(d.Content),
				attr{"mimeCode", d.MediaType}, attr{"filename", d.FileName})
		}
		attachment.group("cac:ExternalReference").add("cbc:URI", d.URI)
	}
}

func (w writer) taxes(root *node) {
	for _, t := range w.inv.TaxTotals {
		total := root.group("cac:TaxTotal")
		addMoney(total, "cbc:TaxAmount", t.Amount)
		for _, b := range t.Breakdown {
			sub := total.group("cac:TaxSubtotal")
			addMoney(sub, "cbc:TaxableAmount", b.Taxable)
			addMoney(sub, "cbc:TaxAmount", b.Tax)
			addCategory(sub.group("cac:TaxCategory"), b.Category, b.ExemptionReasonCode, b.ExemptionReason)
		}
	}
}

func (w writer) totals(root *node) {
	t := w.inv.Totals
	total := root.group("cac:LegalMonetaryTotal")
	addMoney(total, "cbc:LineExtensionAmount", t.Lines)
	addMoney(total, "cbc:TaxExclusiveAmount", t.Net)
	addMoney(total, "cbc:TaxInclusiveAmount", t.Gross)
	addMoney(total, "cbc:AllowanceTotalAmount", t.Allowances)
	addMoney(total, "cbc:ChargeTotalAmount", t.Charges)
	addMoney(total, "cbc:PrepaidAmount", t.Prepaid)
	addMoney(total, "cbc:PayableRoundingAmount", t.Rounding)
	addMoney(total, "cbc:PayableAmount", t.Payable)
}

func addCategory(n *node, c en16931.Category, code, reason string) {
	n.add("cbc:ID", c.Code)
	addNumber(n, "cbc:Percent", c.Rate)
	n.add("cbc:TaxExemptionReasonCode", code)
	n.add("cbc:TaxExemptionReason", reason)
	n.group("cac:TaxScheme").add("cbc:ID", "VAT")
}

// addMoney writes at least two decimals.
func addMoney(n *node, name string, m *en16931.Money) {
	if m == nil {
		return
	}
	text := m.Value.String()
	if m.Value.Exponent() >= -2 {
		text = m.Value.StringFixed(2)
	}
	n.add(name, text, attr{"currencyID", m.Currency})
}

func addNumber(n *node, name string, d *decimal.Decimal, attrs ...attr) {
	if d != nil {
		n.add(name, d.String(), attrs...)
	}
}

func addBool(n *node, name string, b bool) { n.add(name, strconv.FormatBool(b)) }

func (w writer) allowance(parent *node, a *en16931.AllowanceCharge) {
	n := parent.group("cac:AllowanceCharge")
	addBool(n, "cbc:ChargeIndicator", a.Charge)
	n.add("cbc:AllowanceChargeReasonCode", a.ReasonCode)
	n.add("cbc:AllowanceChargeReason", a.Reason)
	addNumber(n, "cbc:MultiplierFactorNumeric", a.Percent)
	addMoney(n, "cbc:Amount", a.Amount)
	addMoney(n, "cbc:BaseAmount", a.Base)
	if a.Tax != nil {
		addCategory(n.group("cac:TaxCategory"), *a.Tax, "", "")
	}
}
