package story

import (
	"context"
	"fmt"

	"ramprow/internal/platform/fault"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// close is refused first, with every reason, then earned.
func (t *teller) close(ctx context.Context) error {
	if err := t.refusedFirst(ctx); err != nil {
		return err
	}
	t.heading("8. Proving it by wrench")
	if err := t.tighten(ctx); err != nil {
		return err
	}
	err := t.awaitJob(ctx, "the audit", func(j *jobv1.Job) bool { return j.GetAudit().GetState() == jobv1.AuditState_AUDIT_STATE_COMPLETE })
	if err != nil {
		return err
	}
	t.heading("9. Clear, drive, read again")
	if err := t.prove(ctx); err != nil {
		return err
	}
	t.heading("10. The invoice")
	return t.bill(ctx)
}

func (t *teller) refusedFirst(ctx context.Context) error {
	_, err := t.clients.Job.CloseInvoice(t.as(ctx, dispatcher), &jobv1.CloseInvoiceRequest{RequestId: once(), Job: t.job.GetName()})
	refusal, ok := err.(*fault.Error) //nolint:errorlint // the client gives exactly this type
	if !ok || refusal.Kind != fault.Precondition || len(refusal.Unmet) == 0 {
		return fmt.Errorf("the invoice was not refused with its reasons, but: %w", err)
	}
	t.say("The dispatcher asks for the invoice and is refused. Not met:")
	for _, u := range refusal.Unmet {
		t.say("   %-18s %s", u.Type, u.Description)
	}
	return nil
}

// prove clears the codes, reads, drives and reads again.
func (t *teller) prove(ctx context.Context) error {
	cleared, err := t.clients.Job.ClearCodes(t.as(ctx, technician), &jobv1.ClearCodesRequest{RequestId: once(), Job: t.job.GetName()})
	if err != nil {
		return fmt.Errorf("clear the codes: %w", err)
	}
	t.keep(cleared.GetJob(), cleared.GetReceipt())
	if err := t.readNothing(ctx, jobv1.ReadingMoment_READING_MOMENT_AFTER_CLEARING); err != nil {
		return err
	}
	driven, err := t.clients.Job.RecordRoadTest(t.as(ctx, technician), &jobv1.RecordRoadTestRequest{
		RequestId: once(), Job: t.job.GetName(), Passed: true, DistanceKm: 14.5,
	})
	if err != nil {
		return fmt.Errorf("road test: %w", err)
	}
	t.keep(driven.GetJob(), driven.GetReceipt())
	if err := t.readNothing(ctx, jobv1.ReadingMoment_READING_MOMENT_AFTER_ROAD_TEST); err != nil {
		return err
	}
	t.say("Codes cleared, engine run, no code; 14.5 km driven, no code.")
	return nil
}

func (t *teller) readNothing(ctx context.Context, moment jobv1.ReadingMoment) error {
	r, err := t.clients.Job.RecordCodes(t.as(ctx, technician), &jobv1.RecordCodesRequest{RequestId: once(), Job: t.job.GetName(), Moment: moment})
	if err != nil {
		return fmt.Errorf("read the codes: %w", err)
	}
	t.keep(r.GetJob(), r.GetReceipt())
	return nil
}

func (t *teller) bill(ctx context.Context) error {
	closed, err := t.clients.Job.CloseInvoice(t.as(ctx, dispatcher), &jobv1.CloseInvoiceRequest{RequestId: once(), Job: t.job.GetName()})
	if err != nil {
		return fmt.Errorf("close the invoice: %w", err)
	}
	t.note(closed.GetReceipt())
	invoice := closed.GetInvoice()
	for _, l := range invoice.GetLines() {
		t.say("%-52s %6d %-3s %14s", l.GetTitle(), l.GetQuantity(), l.GetUnit(), money(l.GetNet()))
	}
	t.say("%-63s %14s", "net", money(invoice.GetNet()))
	t.say("%-63s %14s", "tax", money(invoice.GetTax()))
	t.say("%-63s %14s", "invoice "+invoice.GetNumber(), money(invoice.GetGross()))
	if err := t.document(ctx, invoice.GetNumber()); err != nil {
		return err
	}
	paid, err := t.clients.Job.RecordPayment(t.as(ctx, dispatcher), &jobv1.RecordPaymentRequest{
		RequestId: once(), Job: t.job.GetName(), Amount: invoice.GetGross(), How: "card",
	})
	if err != nil {
		return fmt.Errorf("payment: %w", err)
	}
	t.keep(paid.GetJob(), paid.GetReceipt())
	t.say("Paid by card. The job is closed.")
	return nil
}
