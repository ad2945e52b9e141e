package job

import (
	"google.golang.org/protobuf/proto"

	jobv1 "ramprow/proto/ramprow/job/v1"
)

// applyBilling is how the job is billed, and what corrects an invoice.
func (j *Job) applyBilling(m proto.Message) bool {
	switch m := m.(type) {
	case *jobv1.BillingSet:
		j.Billing = m.GetBilling()
	case *jobv1.AdvanceRecorded:
		j.Advances = append(j.Advances, m.GetAdvance())
	case *jobv1.CreditNoteIssued:
		j.CreditNotes = append(j.CreditNotes, m)
	case *jobv1.InvoiceReissued:
		j.issue(m.GetInvoice())
	case *jobv1.LookbackSettled:
		j.Lookback = m.GetLookback()
	default:
		return false
	}
	return true
}

// issue adds an invoice. What was issued is never touched again.
func (j *Job) issue(i *jobv1.Invoice) {
	if j.Invoice == nil {
		j.Invoice = i
	}
	j.Invoices = append(j.Invoices, i)
}

// invoiceNumbered finds an invoice by its number; no number is the first one.
func (j *Job) invoiceNumbered(number string) *jobv1.Invoice {
	for _, i := range j.Invoices {
		if number == "" || i.GetNumber() == number {
			return i
		}
	}
	return nil
}

// payable is what an invoice asks for. Invoices of older programs say gross only.
func payable(i *jobv1.Invoice) int64 {
	if i.GetPayable() != nil {
		return i.GetPayable().GetMinorUnits()
	}
	return i.GetGross().GetMinorUnits()
}

// openSum is what is still to be paid of an invoice: less what was paid and
// what credit notes took back. Below zero it is the payer who gets money.
func (j *Job) openSum(i *jobv1.Invoice) int64 {
	open := payable(i) - j.Paid[i.GetNumber()]
	for _, c := range j.CreditNotes {
		if c.GetCreditNote().GetCredits() == i.GetNumber() {
			open -= payable(c.GetCreditNote())
		}
	}
	return open
}

// lookbackOpen reports whether an audit was re-opened after closing and nobody has said what came of it.
func (j *Job) lookbackOpen() bool {
	return j.Invoice != nil && j.Audit.GetState() == jobv1.AuditState_AUDIT_STATE_REOPENED && j.Lookback == nil
}
