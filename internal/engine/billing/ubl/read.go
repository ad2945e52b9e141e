package ubl

import (
	"encoding/base64"
	"fmt"

	"github.com/shopspring/decimal"

	"ramprow/internal/engine/billing/en16931"
)

// Document is what was read of a file.
type Document struct {
	Invoice *en16931.Invoice
	// Findings are what is wrong with the file itself: values that cannot be read,
	// empty elements (PEPPOL-EN16931-R008), elements that the standard does not use (UBL-CR).
	Findings []en16931.Finding
}

// Check gives everything that is wrong: with the file, by EN 16931, by Peppol.
func (d *Document) Check() []en16931.Finding {
	return append(d.Findings, en16931.Check(d.Invoice)...)
}

// Read reads an invoice or a credit note. A file that is neither is ErrNoDocument.
func Read(data []byte) (*Document, error) {
	root, err := parse(data)
	if err != nil {
		return nil, err
	}
	if root.name != "Invoice" && root.name != "CreditNote" {
		return nil, fmt.Errorf("%w: its first element is %s", ErrNoDocument, root.name)
	}
	r := &reader{root: root, inv: &en16931.Invoice{Credit: root.name == "CreditNote"}}
	r.head()
	r.references()
	r.inv.Seller = r.party(root.find("cac:AccountingSupplierParty/cac:Party"))
	r.inv.Buyer = r.party(root.find("cac:AccountingCustomerParty/cac:Party"))
	r.others()
	r.delivery()
	r.payments()
	for _, n := range root.all("cac:AllowanceCharge") {
		r.inv.AllowancesAndCharges = append(r.inv.AllowancesAndCharges, r.allowance(n))
	}
	r.taxes()
	r.totals()
	r.lines()
	r.leftover(root, root.name)
	return &Document{Invoice: r.inv, Findings: r.findings}, nil
}

type reader struct {
	root     *node
	inv      *en16931.Invoice
	findings []en16931.Finding
}

func (r *reader) wrong(rule, field string, severity en16931.Severity, text string, args ...any) {
	r.findings = append(r.findings, en16931.Finding{Rule: rule, Field: field, Severity: severity, Text: fmt.Sprintf(text, args...)})
}

// leftover names what is empty and what was not read.
func (r *reader) leftover(n *node, path string) {
	for _, kid := range n.kids {
		at := path + "/" + kid.name
		if len(kid.kids) == 0 && kid.text == "" {
			r.wrong("PEPPOL-EN16931-R008", at, en16931.Fatal, "is empty; leave it out")
		}
		if !kid.seen {
			r.wrong("UBL-CR", at, en16931.Warning, "EN 16931 does not use this element, or not here or not twice; it was not read")
			continue
		}
		r.leftover(kid, at)
	}
}

func (r *reader) head() {
	i, root := r.inv, r.root
	i.Specification, i.Process = root.value("cbc:CustomizationID"), root.value("cbc:ProfileID")
	i.Number, i.IssueDate = root.value("cbc:ID"), r.date(root, "cbc:IssueDate")
	i.TaxPointDate = r.date(root, "cbc:TaxPointDate")
	if i.Credit {
		i.TypeCode = root.value("cbc:CreditNoteTypeCode")
		i.DueDate = r.date(root, "cac:PaymentMeans/cbc:PaymentDueDate")
	} else {
		i.TypeCode, i.DueDate = root.value("cbc:InvoiceTypeCode"), r.date(root, "cbc:DueDate")
	}
	for _, n := range root.all("cbc:Note") {
		i.Notes = append(i.Notes, n.text)
	}
	i.Currency, i.TaxCurrency = root.value("cbc:DocumentCurrencyCode"), root.value("cbc:TaxCurrencyCode")
	i.AccountingReference, i.BuyerReference = root.value("cbc:AccountingCost"), root.value("cbc:BuyerReference")
	i.Period = r.period(root)
	i.TaxPointCode = root.value("cac:InvoicePeriod/cbc:DescriptionCode")
	if i.Period != nil && *i.Period == (en16931.Period{}) && i.TaxPointCode != "" {
		i.Period = nil
	}
	root.value("cbc:UBLVersionID")
}

func (r *reader) date(n *node, path string) en16931.Date { return en16931.Date(n.value(path)) }

func (r *reader) period(n *node) *en16931.Period {
	p := n.find("cac:InvoicePeriod")
	if p == nil {
		return nil
	}
	return &en16931.Period{Start: r.date(p, "cbc:StartDate"), End: r.date(p, "cbc:EndDate")}
}

func (r *reader) references() {
	i, root := r.inv, r.root
	i.OrderReference = root.value("cac:OrderReference/cbc:ID")
	i.SalesOrderReference = root.value("cac:OrderReference/cbc:SalesOrderID")
	if i.OrderReference == noOrder && i.SalesOrderReference != "" {
		i.OrderReference = ""
	}
	for _, n := range root.all("cac:BillingReference") {
		i.Preceding = append(i.Preceding, en16931.Preceding{
			Number:    n.value("cac:InvoiceDocumentReference/cbc:ID"),
			IssueDate: r.date(n, "cac:InvoiceDocumentReference/cbc:IssueDate"),
		})
	}
	i.DespatchAdvice = root.value("cac:DespatchDocumentReference/cbc:ID")
	i.ReceivingAdvice = root.value("cac:ReceiptDocumentReference/cbc:ID")
	i.TenderReference = root.value("cac:OriginatorDocumentReference/cbc:ID")
	i.ContractReference = root.value("cac:ContractDocumentReference/cbc:ID")
	i.ProjectReference = root.value("cac:ProjectReference/cbc:ID")
	for k, n := range root.all("cac:AdditionalDocumentReference") {
		r.document(n, fmt.Sprintf("documents[%d]", k))
	}
}

func (r *reader) document(n *node, field string) {
	switch kind := n.value("cbc:DocumentTypeCode"); {
	case kind == typeObject:
		r.inv.Object = identifier(n.find("cbc:ID"))
		return
	case kind == typeProject && r.inv.Credit:
		r.inv.ProjectReference = n.value("cbc:ID")
		return
	}
	d := en16931.Document{
		ID: n.value("cbc:ID"), Description: n.value("cbc:DocumentDescription"),
		URI: n.value("cac:Attachment/cac:ExternalReference/cbc:URI"),
	}
	if content := n.find("cac:Attachment/cbc:EmbeddedDocumentBinaryObject"); content != nil {
		d.MediaType, d.FileName = content.attr("mimeCode"), content.attr("filename")
		decoded, err := base64.StdEncoding.DecodeString(content.text)
		if err != nil {
			r.wrong("XSD", field+".content (BT-125)", en16931.Fatal, "is no base64")
		}
		d.Content = decoded
	}
	r.inv.Documents = append(r.inv.Documents, d)
}

func (r *reader) taxes() {
	for _, n := range r.root.all("cac:TaxTotal") {
		total := en16931.TaxTotal{Amount: r.money(n, "cbc:TaxAmount")}
		for _, sub := range n.all("cac:TaxSubtotal") {
			b := en16931.Breakdown{Taxable: r.money(sub, "cbc:TaxableAmount"), Tax: r.money(sub, "cbc:TaxAmount")}
			if c := sub.find("cac:TaxCategory"); c != nil {
				b.Category = r.category(c)
				b.ExemptionReason, b.ExemptionReasonCode = c.value("cbc:TaxExemptionReason"), c.value("cbc:TaxExemptionReasonCode")
			}
			total.Breakdown = append(total.Breakdown, b)
		}
		r.inv.TaxTotals = append(r.inv.TaxTotals, total)
	}
}

func (r *reader) totals() {
	n := r.root.find("cac:LegalMonetaryTotal")
	if n == nil {
		return
	}
	r.inv.Totals = en16931.Totals{
		Lines: r.money(n, "cbc:LineExtensionAmount"), Net: r.money(n, "cbc:TaxExclusiveAmount"), Gross: r.money(n, "cbc:TaxInclusiveAmount"),
		Allowances: r.money(n, "cbc:AllowanceTotalAmount"), Charges: r.money(n, "cbc:ChargeTotalAmount"), Prepaid: r.money(n, "cbc:PrepaidAmount"),
		Rounding: r.money(n, "cbc:PayableRoundingAmount"), Payable: r.money(n, "cbc:PayableAmount"),
	}
}

func (r *reader) category(n *node) en16931.Category {
	n.value("cac:TaxScheme/cbc:ID")
	return en16931.Category{Code: n.value("cbc:ID"), Rate: r.number(n, "cbc:Percent")}
}

func (r *reader) money(n *node, path string) *en16931.Money {
	value := r.number(n, path)
	if value == nil {
		return nil
	}
	return en16931.New(*value, n.find(path).attr("currencyID"))
}

func (r *reader) number(n *node, path string) *decimal.Decimal {
	at := n.find(path)
	if at == nil {
		return nil
	}
	value, ok := en16931.ParseNumber(at.text)
	if !ok {
		r.wrong("XSD", n.name+"/"+path, en16931.Fatal, "%.40q is no decimal number", at.text)
		return nil
	}
	return &value
}

func (r *reader) allowance(n *node) en16931.AllowanceCharge {
	indicator := n.value("cbc:ChargeIndicator")
	if indicator != "true" && indicator != "false" {
		r.wrong("PEPPOL-EN16931-R043", n.name+"/cbc:ChargeIndicator", en16931.Fatal, "is %.40q; it is true for a charge, false for an allowance", indicator)
	}
	a := en16931.AllowanceCharge{
		Charge: indicator == "true", Amount: r.money(n, "cbc:Amount"), Base: r.money(n, "cbc:BaseAmount"),
		Percent: r.number(n, "cbc:MultiplierFactorNumeric"),
		Reason:  n.value("cbc:AllowanceChargeReason"), ReasonCode: n.value("cbc:AllowanceChargeReasonCode"),
	}
	if c := n.find("cac:TaxCategory"); c != nil {
		tax := r.category(c)
		a.Tax = &tax
	}
	return a
}
