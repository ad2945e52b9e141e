package story

import (
	"context"
	"fmt"

	"ramprow/internal/engine/billing/en16931"
	"ramprow/internal/engine/billing/ubl"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// introduce says who the invented workshop is on its invoices. Its numbers are
// those that registers keep for examples, or made up.
func (t *teller) introduce(ctx context.Context) error {
	r, err := t.clients.Billing.SetSeller(t.as(ctx, owner), &jobv1.SetSellerRequest{RequestId: once(), Seller: &jobv1.Seller{
		Party: &jobv1.Party{
			Name: "Werkhof Sonnrain GmbH", Street: "Sonnrain 4", City: "Musterstadt", PostCode: "1010", Country: "AT", VatId: "ATU12345678",
			Endpoint: "7300010000001", EndpointScheme: "0088", ContactName: "Office", Phone: "+43 1 0000", Email: "office@workshop.example",
		},
		PaymentDays: 14,
	}})
	if err != nil {
		return fmt.Errorf("set the seller: %w", err)
	}
	t.note(r.GetReceipt())
	return nil
}

// document takes the invoice as UBL and checks it as whoever receives it would.
func (t *teller) document(ctx context.Context, number string) error {
	r, err := t.clients.Billing.GetInvoiceDocument(t.as(ctx, dispatcher), &jobv1.GetInvoiceDocumentRequest{
		Job: t.job.GetName(), Number: number, Form: jobv1.DocumentForm_DOCUMENT_FORM_UBL,
	})
	if err != nil {
		return fmt.Errorf("the invoice as a document: %w", err)
	}
	d, err := ubl.Read(r.GetDocument())
	if err != nil {
		return fmt.Errorf("read the invoice's document: %w", err)
	}
	if findings := append(d.Findings, en16931.CheckCore(d.Invoice)...); len(findings) > 0 {
		return fmt.Errorf("the invoice's document breaks a rule: %s", findings[0])
	}
	t.say("The invoice is a UBL document of %d bytes that breaks no rule of EN 16931.", len(r.GetDocument()))
	return nil
}
