package job

import (
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/shopspring/decimal"

	"ramprow/internal/catalogue"
	"ramprow/internal/engine/billing/en16931"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// Tax categories of UNCL 5305 that stand for themselves.
const (
	taxStandard = "S"
	taxZero     = "Z"
	taxOutside  = "O"
)

// bill is one payer's invoice, without a number.
type bill struct {
	payer *jobv1.Payer
	kinds []jobv1.LineKind // of the document's lines
	units []string
	doc   *en16931.Invoice
}

// bills computes every payer's invoice. A payer who bears nothing gets none; if
// nobody bears anything the customer gets one over nothing.
func (j *Job) bills(c *catalogue.Catalogue, seller *jobv1.Seller, at time.Time) []*bill {
	lines, payers := j.sales(c), j.payers()
	parts := make([][]int64, len(lines))
	for n, l := range lines {
		parts[n] = portions(l.net, l.kind, payers)
	}
	var list []*bill
	for p, payer := range payers {
		b := &bill{payer: payer, doc: j.document(seller, payer, c.Message().GetCurrencyCode(), at)}
		for n := range lines {
			if bears := share(payer, lines[n].kind) > 0; bears || payer.GetId() == payerCustomer && (parts[n][p] != 0 || lines[n].net == 0) {
				b.add(&lines[n], parts[n][p])
			}
		}
		last := payer.GetId() == payerCustomer && len(list) == 0
		if len(b.doc.Lines) == 0 && !last {
			continue
		}
		j.adjust(b, c, payer.GetId() == payerCustomer || !j.customerBears(parts))
		b.doc.Complete(en16931.Options{
			KeepNets: true, Prepaid: j.prepaid(payer.GetId()), Reasons: reasons(lines, j.Billing.GetItems()),
			CashUnit: decimal.New(int64(j.Billing.GetCashUnitMinorUnits()), -2),
		})
		list = append(list, b)
	}
	return list
}

// customerBears reports whether any part of the lines is left to the customer.
func (j *Job) customerBears(parts [][]int64) bool {
	for _, p := range parts {
		if p[len(p)-1] != 0 {
			return true
		}
	}
	return len(parts) == 0
}

// add puts a payer's part of a line on his invoice: the line whole, less what others bear.
func (b *bill) add(l *sold, part int64) {
	currency := b.doc.Currency
	line := en16931.Line{
		ID: strconv.Itoa(len(b.doc.Lines) + 1), Quantity: en16931.Number(decimal.New(l.quantity, 0)), Unit: l.code, Net: en16931.Cents(part, currency),
		Price: en16931.Price{Net: en16931.Cents(l.price, currency)}, Tax: category(l.tax), Item: en16931.Item{Name: l.title, SellersID: l.reference},
	}
	if l.per > 1 {
		line.Price.Per, line.Price.PerUnit = en16931.Number(decimal.New(l.per, 0)), l.code
	}
	if l.usedOnce {
		line.Item.Attributes = []en16931.Attribute{{Name: "Used once", Value: "yes"}}
	}
	if others := l.net - part; others != 0 {
		line.AllowancesAndCharges = []en16931.AllowanceCharge{{
			Charge: others < 0, Amount: en16931.Cents(max(others, -others), currency), Reason: "Part that others bear",
		}}
	}
	b.doc.Lines = append(b.doc.Lines, line)
	b.kinds = append(b.kinds, l.kind)
	b.units = append(b.units, l.unit)
}

// adjust adds discounts and surcharges: percentages of the payer's own lines,
// once per tax; fixed amounts only where they are to go.
func (j *Job) adjust(b *bill, c *catalogue.Catalogue, fixed bool) {
	tax := j.taxes(c)
	for _, i := range j.Billing.GetItems() {
		if !adjusts(i) {
			continue
		}
		charge := i.GetKind() == jobv1.LineKind_LINE_KIND_SURCHARGE
		if i.GetBasisPoints() == 0 {
			if t := category(tax(i.GetOnKind(), i.GetTax())); fixed {
				b.allow(en16931.AllowanceCharge{Charge: charge, Amount: en16931.Cents(i.GetPrice().GetMinorUnits(), b.doc.Currency), Tax: &t}, i.GetTitle())
			}
			continue
		}
		for _, base := range b.bases(i.GetOnKind()) {
			a := en16931.Percentage(charge, en16931.New(base.taxable, b.doc.Currency), basisPoints(i.GetBasisPoints()))
			a.Tax = &base.tax
			b.allow(a, i.GetTitle())
		}
	}
}

func (b *bill) allow(a en16931.AllowanceCharge, reason string) {
	if a.Amount.Value.Sign() == 0 {
		return
	}
	a.Reason = reason
	if !a.Charge {
		a.ReasonCode = "95" // UNCL 5189: discount
	}
	b.doc.AllowancesAndCharges = append(b.doc.AllowancesAndCharges, a)
}

// base is what a percentage is taken of, within one tax.
type base struct {
	tax     en16931.Category
	taxable decimal.Decimal
}

// bases sums the lines of a kind by tax. All kinds are without the deposits,
// which are handed back as they were taken.
func (b *bill) bases(kind jobv1.LineKind) []*base {
	var list []*base
	for n, l := range b.doc.Lines {
		deposit := b.kinds[n] == jobv1.LineKind_LINE_KIND_DEPOSIT || b.kinds[n] == jobv1.LineKind_LINE_KIND_DEPOSIT_RETURNED
		if b.kinds[n] != kind && (kind != jobv1.LineKind_LINE_KIND_UNSPECIFIED || deposit) {
			continue
		}
		var found *base
		for _, known := range list {
			if sameTax(known.tax, l.Tax) {
				found = known
			}
		}
		if found == nil {
			found = &base{tax: l.Tax}
			list = append(list, found)
		}
		found.taxable = found.taxable.Add(l.Net.Value)
	}
	return list
}

func sameTax(a, b en16931.Category) bool {
	return a.Code == b.Code && (a.Rate == nil) == (b.Rate == nil) && (a.Rate == nil || a.Rate.Equal(*b.Rate))
}

// reasons gives why a category bears no tax; the first that says it.
func reasons(lines []sold, items []*jobv1.BillingItem) map[string]en16931.Reason {
	found := map[string]en16931.Reason{}
	note := func(t *jobv1.TaxTreatment) {
		if known := found[t.GetCategory()]; known == (en16931.Reason{}) {
			found[t.GetCategory()] = en16931.Reason{Text: t.GetExemptionReason(), Code: t.GetExemptionCode()}
		}
	}
	for _, l := range lines {
		note(l.tax)
	}
	for _, i := range items {
		if i.GetTax() != nil {
			note(i.GetTax())
		}
	}
	return found
}

// prepaid is what a payer has paid before.
func (j *Job) prepaid(payer string) decimal.Decimal {
	var sum int64
	for _, a := range j.Advances {
		if a.GetPayer() == payer {
			sum += a.GetAmount().GetMinorUnits()
		}
	}
	return decimal.New(sum, -2)
}

// previewNumber stands where the number will be.
const previewNumber = "0000-000000"

// document is the invoice's head: who, to whom, when, how to pay.
func (j *Job) document(s *jobv1.Seller, payer *jobv1.Payer, currency string, at time.Time) *en16931.Invoice {
	d := &en16931.Invoice{
		Specification: coreSpecification, Number: previewNumber, IssueDate: day(at), TypeCode: en16931.TypeInvoice, Currency: currency,
		BuyerReference: orElse(payer.GetBuyerReference(), j.Name), OrderReference: payer.GetOrderReference(),
		DueDate: day(at.AddDate(0, 0, int(s.GetPaymentDays()))), PaymentTerms: terms(s), Buyer: j.buyer(payer, s),
	}
	if s != nil {
		d.Seller = party(s.GetParty())
	}
	if d.Buyer.Endpoint != nil && d.Seller.Endpoint != nil {
		d.Specification, d.Process = en16931.PeppolSpecification, en16931.PeppolProcess
	}
	if car := j.Vehicle; car != nil {
		d.Notes = []string{remark(fmt.Sprintf("Vehicle %s, VIN %s", orElse(car.GetPlate(), "without plate"), car.GetVin()))}
	}
	d.Delivery = &en16931.Delivery{Date: day(at)}
	if !j.FinishedAt.IsZero() {
		d.Delivery.Date = day(j.FinishedAt)
	}
	if a := d.Buyer.Address; a != nil {
		d.Delivery.Address = &en16931.Address{City: a.City, PostCode: a.PostCode, Country: a.Country}
	}
	d.Payments = payments(s, currency)
	return d
}

// coreSpecification names EN 16931 itself, for a buyer without an electronic address.
const coreSpecification = "urn:cen.eu:en16931:2017"

// remark is a text that nobody takes for one with a subject code between number signs.
func remark(text string) string {
	if en16931.SubjectCode(text) == "" {
		return text
	}
	return strings.ReplaceAll(text, "#", "No. ")
}

func day(t time.Time) en16931.Date { return en16931.Date(t.UTC().Format(time.DateOnly)) }

func terms(s *jobv1.Seller) string {
	switch {
	case s.GetTerms() != "":
		return s.GetTerms()
	case s.GetPaymentDays() == 0:
		return "Payable at once without deduction"
	}
	return fmt.Sprintf("Payable within %d days without deduction", s.GetPaymentDays())
}

// payments: a transfer where the seller has an account (58 within SEPA's euro,
// 30 otherwise); else the means is left open (1). UNCL 4461.
func payments(s *jobv1.Seller, currency string) []en16931.PaymentMeans {
	if s.GetIban() == "" {
		return []en16931.PaymentMeans{{Code: "1"}}
	}
	code := "30"
	if currency == "EUR" {
		code = "58"
	}
	return []en16931.PaymentMeans{{Code: code, Account: s.GetIban(), AccountName: s.GetParty().GetName(), Provider: s.GetBic()}}
}
