package job

import (
	"fmt"
	"slices"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/catalogue"
	"ramprow/internal/engine/billing/en16931"
	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// creditInvoice takes back an invoice or some of its lines. The invoice itself
// stays as it is; number and credit note are one commit.
func creditInvoice(s *State, j *Job, in sitelog.Input, req *jobv1.CreditInvoiceRequest) ([]proto.Message, *jobv1.Invoice, error) {
	invoice, d, err := j.creditable(req.GetInvoice())
	if err != nil {
		return nil, nil, err
	}
	lines, err := j.linesToCredit(invoice, d, req.GetLines())
	if err != nil {
		return nil, nil, err
	}
	note, err := s.creditNote(j, invoice, d, lines, req.GetReason(), in)
	if err != nil {
		return nil, nil, err
	}
	return []proto.Message{note}, note.GetCreditNote(), nil
}

// creditable finds an invoice and its document.
func (j *Job) creditable(number string) (*jobv1.Invoice, *en16931.Invoice, error) {
	invoice := j.invoiceNumbered(number)
	if invoice == nil {
		return nil, nil, invoiceUnknown(j, number)
	}
	d, err := documentOf(invoice)
	return invoice, d, err
}

// documentOf reads the structured document of an issued invoice.
func documentOf(i *jobv1.Invoice) (*en16931.Invoice, error) {
	if len(i.GetDocument()) == 0 {
		return nil, fault.New(fault.Precondition, "INVOICE_WITHOUT_DOCUMENT",
			"invoice %s was closed by a program that kept no structured document", i.GetNumber()).With("invoice", i.GetNumber())
	}
	d, err := en16931.ReadJSON(i.GetDocument())
	if err != nil {
		return nil, fault.New(fault.Precondition, "INVOICE_WITHOUT_DOCUMENT", "the document of invoice %s cannot be read: %v", i.GetNumber(), err)
	}
	return d, nil
}

// credited lists the lines of an invoice that credit notes took back.
func (j *Job) credited(number string) []uint32 {
	var lines []uint32
	for _, c := range j.CreditNotes {
		if c.GetCreditNote().GetCredits() == number {
			lines = append(lines, c.GetLines()...)
		}
	}
	return lines
}

// linesToCredit checks the wanted lines; none are all that is left.
func (j *Job) linesToCredit(invoice *jobv1.Invoice, d *en16931.Invoice, wanted []uint32) ([]uint32, error) {
	gone := j.credited(invoice.GetNumber())
	if len(wanted) == 0 {
		for n := range count(d.Lines) {
			if !slices.Contains(gone, n+1) {
				wanted = append(wanted, n+1)
			}
		}
	}
	if len(wanted) == 0 {
		return nil, fault.New(fault.Precondition, "INVOICE_CREDITED", "all of invoice %s is credited already", invoice.GetNumber())
	}
	for n, line := range wanted {
		field := fmt.Sprintf("lines[%d]", n)
		switch {
		case line > count(d.Lines):
			return nil, fault.New(fault.Invalid, "LINE_UNKNOWN", "invoice %s has %d lines", invoice.GetNumber(), len(d.Lines)).
				WithField(field, "must be between 1 and %d", len(d.Lines))
		case slices.Contains(gone, line):
			return nil, fault.New(fault.Invalid, "LINE_CREDITED", "line %d of invoice %s is credited already", line, invoice.GetNumber()).
				WithField(field, "is credited already")
		}
	}
	if len(wanted) < len(d.Lines) && len(d.AllowancesAndCharges) > 0 {
		return nil, fault.New(fault.Precondition, "CREDIT_WHOLE_ONLY",
			"invoice %s has discounts or surcharges on the whole; credit all of it, or correct it", invoice.GetNumber())
	}
	return wanted, nil
}

// creditNote makes the document that takes lines back. All of an invoice at once
// mirrors its sums to the cent, with what was prepaid and rounded.
func (s *State) creditNote(j *Job, invoice *jobv1.Invoice, d *en16931.Invoice, lines []uint32, reason string, in sitelog.Input) (*jobv1.CreditNoteIssued, error) {
	series := fmt.Sprintf("C%04d", in.Now.UTC().Year())
	sequence := s.invoices[series] + 1
	n := *d
	n.Credit, n.TypeCode = true, en16931.TypeCreditNote
	n.Preceding = []en16931.Preceding{{Number: d.Number, IssueDate: d.IssueDate}}
	n.Number, n.IssueDate, n.DueDate = fmt.Sprintf("%s-%06d", series, sequence), day(in.Now), ""
	n.PaymentTerms = "Taken off invoice " + d.Number
	n.Notes = []string{remark(reason)}
	n.Payments = slices.Clone(d.Payments)
	for k := range n.Payments {
		n.Payments[k].Remittance = n.Number
	}
	if len(lines) < len(d.Lines) {
		n.Lines = nil
		for _, line := range lines {
			n.Lines = append(n.Lines, d.Lines[line-1])
		}
		n.Complete(en16931.Options{KeepNets: true, Reasons: reasonsOf(d)})
	}
	note := rendered(&n)
	note.Job, note.Customer, note.Vehicle, note.Payer = j.Name, invoice.GetCustomer(), invoice.GetVehicle(), invoice.GetPayer()
	note.Credits, note.Structured = invoice.GetNumber(), invoice.GetStructured()
	for k, l := range note.GetLines() {
		if k < len(lines) {
			l.Kind, l.Unit = invoice.GetLines()[lines[k]-1].GetKind(), invoice.GetLines()[lines[k]-1].GetUnit()
		}
	}
	if err := stamped(note, &n, in); err != nil {
		return nil, err
	}
	return &jobv1.CreditNoteIssued{Job: j.Name, CreditNote: note, Reason: reason, Lines: lines, Sequence: sequence, Series: series}, nil
}

// reasonsOf gives the exemption reasons that a document has.
func reasonsOf(d *en16931.Invoice) map[string]en16931.Reason {
	found := map[string]en16931.Reason{}
	for _, t := range d.TaxTotals {
		for _, b := range t.Breakdown {
			found[b.Category.Code] = en16931.Reason{Text: b.ExemptionReason, Code: b.ExemptionReasonCode}
		}
	}
	return found
}

// correctInvoice credits what is left of an invoice and issues it anew under
// another billing, in one commit. More than the customer authorised is refused
// until he has been asked, which is possible after closing too.
func correctInvoice(s *State, j *Job, c *catalogue.Catalogue, in sitelog.Input, req *jobv1.CorrectInvoiceRequest) ([]proto.Message, *jobv1.Invoice, error) {
	invoice, d, err := j.creditable(req.GetInvoice())
	if err != nil {
		return nil, nil, err
	}
	if j.Erased != nil {
		return nil, nil, fault.New(fault.Precondition, "PERSONAL_DATA_ERASED",
			"who the customer of %s is was erased, so no new invoice can be made out to him; credit the old one with 'ramprow invoice credit'", j.Name).With("job", j.Name)
	}
	if err := checkBilling(req.GetBilling(), c.Message().GetCurrencyCode()); err != nil {
		return nil, nil, err
	}
	var events []proto.Message
	if lines, err := j.linesToCredit(invoice, d, nil); err == nil {
		note, err := s.creditNote(j, invoice, d, lines, req.GetReason(), in)
		if err != nil {
			return nil, nil, err
		}
		events = append(events, note)
	} else if fault.ReasonOf(err) != "INVOICE_CREDITED" {
		return nil, nil, err
	}
	after := j.clone()
	after.Billing = req.GetBilling()
	bills := after.bills(c, s.seller, in.Now)
	at := slices.IndexFunc(bills, func(b *bill) bool { return b.payer.GetId() == invoice.GetPayer() })
	if at < 0 {
		return nil, nil, fault.New(fault.Precondition, "PAYER_BEARS_NOTHING",
			"under this billing %s pays nothing; credit the invoice instead", invoice.GetPayer())
	}
	if unmet := after.unmetBills(s.seller, bills); len(unmet) > 0 {
		return nil, nil, notReady(j, unmet)
	}
	b := bills[at]
	b.doc.Preceding = []en16931.Preceding{{Number: d.Number, IssueDate: d.IssueDate}}
	series := fmt.Sprintf("%04d", in.Now.UTC().Year())
	sequence := s.invoices[series] + 1
	anew, err := after.numbered(b, s.seller, series, sequence, in)
	if err != nil {
		return nil, nil, err
	}
	return append(events, &jobv1.BillingSet{Job: j.Name, Billing: req.GetBilling()},
		&jobv1.InvoiceReissued{Job: j.Name, Invoice: anew, Sequence: sequence, Series: series}), anew, nil
}
