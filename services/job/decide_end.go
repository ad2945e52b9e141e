package job

import (
	"fmt"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/catalogue"
	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

func clearCodes(j *Job) ([]proto.Message, error) {
	if !j.allDone() {
		return nil, fault.New(fault.Precondition, "STEPS_OPEN", "finish the work first; codes cleared before it prove nothing").
			WithUnmet(fault.Unmet{Type: "STEPS_OPEN", Subject: j.Name, Description: "the technician finishes every step"})
	}
	return []proto.Message{&jobv1.CodesCleared{Job: j.Name}}, nil
}

func recordRoadTest(j *Job, in sitelog.Input, req *jobv1.RecordRoadTestRequest) ([]proto.Message, error) {
	if !j.allDone() {
		return nil, fault.New(fault.Precondition, "STEPS_OPEN", "the car is not together; finish the work before driving it").
			WithUnmet(fault.Unmet{Type: "STEPS_OPEN", Subject: j.Name, Description: "the technician finishes every step"})
	}
	for _, t := range j.Tools {
		if t.GetMustComeOff() {
			return nil, fault.New(fault.Precondition, "TOOL_ON_CAR", "%s is still on the engine; starting it now would destroy it", t.GetTitle()).
				WithUnmet(fault.Unmet{Type: "TOOL_ON_CAR", Subject: t.GetTool(), Description: "the technician takes it off"})
		}
	}
	return []proto.Message{&jobv1.RoadTestRecorded{Job: j.Name, Test: &jobv1.RoadTest{
		Passed: req.GetPassed(), DistanceKm: req.GetDistanceKm(), Note: req.GetNote(), At: timestamppb.New(in.Now), By: in.Actor.Person,
	}}}, nil
}

// closeInvoice is the last gate: every condition, then number and closing in
// one commit, so a number can neither be lost nor used twice.
func closeInvoice(s *State, j *Job, c *catalogue.Catalogue, in sitelog.Input) ([]proto.Message, *jobv1.Invoice, error) {
	unmet := j.unmet()
	var bills []*bill
	if j.Plan != nil {
		bills = j.bills(c, s.seller, in.Now)
		unmet = append(unmet, j.unmetBills(s.seller, bills)...)
	}
	if len(unmet) > 0 {
		return nil, nil, notReady(j, unmet)
	}
	series := fmt.Sprintf("%04d", in.Now.UTC().Year())
	var events []proto.Message
	var first *jobv1.Invoice
	for n, b := range bills {
		sequence := s.invoices[series] + uint64(n) + 1
		invoice, err := j.numbered(b, s.seller, series, sequence, in)
		if err != nil {
			return nil, nil, err
		}
		if first == nil || invoice.GetPayer() == payerCustomer {
			first = invoice
		}
		events = append(events, &jobv1.InvoiceClosed{Job: j.Name, Invoice: invoice, Sequence: sequence, Series: series})
	}
	return events, first, nil
}

// notReady refuses with every condition that is not met.
func notReady(j *Job, unmet []*jobv1.UnmetCondition) error {
	refusal := fault.New(fault.Precondition, "INVOICE_NOT_READY", "%s cannot be closed: %d conditions are not met, first: %s",
		j.Name, len(unmet), unmet[0].GetDescription())
	for _, u := range unmet {
		refusal.WithUnmet(fault.Unmet{Type: u.GetType(), Subject: u.GetSubject(), Description: u.GetDescription()})
	}
	return refusal
}

func recordPayment(j *Job, req *jobv1.RecordPaymentRequest) ([]proto.Message, error) {
	if j.Invoice == nil {
		return nil, fault.New(fault.Precondition, "INVOICE_NOT_CLOSED", "%s has no invoice yet; close it first", j.Name)
	}
	invoice := j.invoiceNumbered(req.GetInvoice())
	if invoice == nil {
		return nil, invoiceUnknown(j, req.GetInvoice())
	}
	open := j.openSum(invoice)
	paid := req.GetAmount()
	switch {
	case paid.GetCurrencyCode() != invoice.GetGross().GetCurrencyCode():
		return nil, fault.New(fault.Invalid, "CURRENCY_DIFFERS", "the invoice is in %s", invoice.GetGross().GetCurrencyCode()).
			WithField("amount.currency_code", "must be %s", invoice.GetGross().GetCurrencyCode())
	case paid.GetMinorUnits() <= 0 || paid.GetMinorUnits() > open:
		return nil, fault.New(fault.Invalid, "AMOUNT_RANGE", "%s is open", amount(open, paid.GetCurrencyCode())).
			WithField("amount.minor_units", "must be positive and at most what is open")
	}
	return []proto.Message{&jobv1.PaymentRecorded{Job: j.Name, Invoice: invoice.GetNumber(), Amount: paid, How: req.GetHow()}}, nil
}

func cancel(j *Job, req *jobv1.CancelJobRequest) ([]proto.Message, error) {
	return []proto.Message{&jobv1.JobCancelled{Job: j.Name, Reason: req.GetReason(), WorkStarted: len(j.Progress) > 0}}, nil
}

// amount writes minor units as people do, as in 1234.50 EUR.
func amount(minor int64, currency string) string {
	sign := ""
	if minor < 0 {
		sign, minor = "-", -minor
	}
	return fmt.Sprintf("%s%d.%02d %s", sign, minor/100, minor%100, currency)
}
