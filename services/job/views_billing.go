package job

import (
	"fmt"

	"google.golang.org/protobuf/proto"

	commonv1 "ramprow/proto/ramprow/common/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// addInvoices shows what was issued, with what was paid of it.
func (j *Job) addInvoices(r *jobv1.Job) {
	for n, i := range j.Invoices {
		shown := j.paidInvoice(i)
		r.Invoices = append(r.Invoices, shown)
		if n == 0 {
			r.Invoice = shown
		}
	}
	for _, c := range j.CreditNotes {
		r.CreditNotes = append(r.CreditNotes, bare(c.GetCreditNote()))
	}
	if l := j.Lookback; l != nil {
		r.Lookback = fmt.Sprintf("%s: %s (%s)", word(l.GetOutcome().String(), "LOOKBACK_OUTCOME_"), l.GetNote(), l.GetBy())
	}
}

// paidInvoice is an invoice with what was paid of it.
func (j *Job) paidInvoice(i *jobv1.Invoice) *jobv1.Invoice {
	shown := bare(i)
	shown.Paid = &commonv1.Money{MinorUnits: j.Paid[i.GetNumber()], CurrencyCode: i.GetGross().GetCurrencyCode()}
	return shown
}

// bare leaves the document out: it is long, and GetInvoiceDocument gives it.
func bare(i *jobv1.Invoice) *jobv1.Invoice {
	shown := proto.CloneOf(i)
	shown.Document = nil
	return shown
}

func billingSentence(m proto.Message) string {
	switch m := m.(type) {
	case *jobv1.BillingSet:
		return "how it is billed was set"
	case *jobv1.AdvanceRecorded:
		a := m.GetAdvance()
		return fmt.Sprintf("%s received in advance from %s by %s", amount(a.GetAmount().GetMinorUnits(), a.GetAmount().GetCurrencyCode()), a.GetPayer(), a.GetHow())
	case *jobv1.CreditNoteIssued:
		c := m.GetCreditNote()
		return fmt.Sprintf("credit note %s over %s for invoice %s: %s", c.GetNumber(), amount(c.GetGross().GetMinorUnits(), c.GetGross().GetCurrencyCode()), c.GetCredits(), m.GetReason())
	case *jobv1.InvoiceReissued:
		i := m.GetInvoice()
		return fmt.Sprintf("invoice %s over %s issued anew", i.GetNumber(), amount(i.GetGross().GetMinorUnits(), i.GetGross().GetCurrencyCode()))
	case *jobv1.PersonalDataErased:
		return fmt.Sprintf("who the customer is was erased, as asked for in %s", m.GetReference())
	case *jobv1.LookbackSettled:
		return fmt.Sprintf("re-opened audit: %s; %s", word(m.GetLookback().GetOutcome().String(), "LOOKBACK_OUTCOME_"), m.GetLookback().GetNote())
	}
	return ""
}
