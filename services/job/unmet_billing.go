package job

import (
	"strings"
	"time"

	"ramprow/internal/catalogue"
	"ramprow/internal/engine/billing/en16931"
	"ramprow/internal/engine/billing/ubl"
	commonv1 "ramprow/proto/ramprow/common/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

const owner = commonv1.Role_ROLE_OWNER

// preview computes what would be issued and everything that keeps it back. The
// customer's invoice, if there is one, is the last.
func (j *Job) preview(c *catalogue.Catalogue, seller *jobv1.Seller, at time.Time) ([]*jobv1.Invoice, []*jobv1.UnmetCondition) {
	unmet := j.unmet()
	if j.Plan == nil {
		return nil, unmet
	}
	bills := j.bills(c, seller, at)
	invoices := make([]*jobv1.Invoice, len(bills))
	for n, b := range bills {
		invoices[n] = j.invoice(b)
	}
	return invoices, append(unmet, j.unmetBills(seller, bills)...)
}

// unmetBills: what is billed must be authorised; a seller who has told who he is
// gets invoices that EN 16931 accepts, or none.
func (j *Job) unmetBills(seller *jobv1.Seller, bills []*bill) []*jobv1.UnmetCondition {
	var list []*jobv1.UnmetCondition
	var net int64
	for _, b := range bills {
		net += minor(b.doc.Totals.Net.Value)
		if seller != nil {
			list = append(list, j.unmetDocument(b)...)
		}
	}
	if have := j.authorised(); have < net && have >= j.estimate() {
		list = append(list, condition("AUTHORITY_SHORT", j.Name, dispatcher,
			"the bill comes to %s and %s are authorised; the dispatcher asks again", amount(net, j.currency()), amount(have, j.currency())))
	}
	return list
}

// unmetDocument names what a payer's document lacks, each with who can give it.
func (j *Job) unmetDocument(b *bill) []*jobv1.UnmetCondition {
	var list []*jobv1.UnmetCondition
	for _, f := range documentFindings(b.doc) {
		if f.Severity != en16931.Fatal {
			continue
		}
		kind, who := "BILLING_INCOMPLETE", dispatcher
		switch {
		case strings.HasPrefix(f.Field, "seller."):
			kind, who = "SELLER_INCOMPLETE", owner
		case strings.HasPrefix(f.Field, "buyer."):
			kind = "BUYER_INCOMPLETE"
		}
		list = append(list, condition(kind, b.payer.GetId(), who, "%s: %s %s", f.Rule, f.Field, f.Text))
	}
	return list
}

// documentFindings checks what is written: by EN 16931, and by Peppol's rules if the document is for Peppol. What holds
// nothing but spaces is not written, so the document is read again first.
func documentFindings(d *en16931.Invoice) []en16931.Finding {
	written, err := ubl.Read(ubl.Write(d))
	if err != nil {
		return []en16931.Finding{{Rule: "XSD", Field: "document", Text: err.Error(), Severity: en16931.Fatal}}
	}
	return append(written.Findings, en16931.CheckDeclared(written.Invoice)...)
}

// unmetLookback is what a closed job still wants.
func (j *Job) unmetLookback() []*jobv1.UnmetCondition {
	return []*jobv1.UnmetCondition{condition("LOOKBACK_OPEN", "sheets/"+numberOf(j.Name), technician,
		"the audit was re-opened after closing (%s); the technician or the owner says what came of it", j.Audit.GetReason())}
}
