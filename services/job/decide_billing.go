package job

import (
	"fmt"
	"slices"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/catalogue"
	"ramprow/internal/engine/billing/en16931"
	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// maxMinor is 10^12 in minor units: beyond it a sum is a slip of the keyboard.
const maxMinor = 100_000_000_000_000

// setSeller keeps who the workshop is on its invoices. It is tried on an
// invoice first, so that no job is stuck later because of it.
func setSeller(s *State, in sitelog.Input, req *jobv1.SetSellerRequest) ([]proto.Message, error) {
	refusal := fault.New(fault.Invalid, "SELLER_INVALID", "invoices with this seller would not be valid")
	p := party(req.GetSeller().GetParty())
	checkParty(refusal, "seller.party", req.GetSeller().GetParty(), &p)
	if p.VATID == "" && p.TaxID == "" {
		refusal.WithField("seller.party.vat_id", "give the VAT identifier, or the tax number (BR-S-02)")
	}
	if p.VATID == "" && p.Registration == nil {
		refusal.WithField("seller.party.registration", "give the VAT identifier or the registration (BR-CO-26)")
	}
	if len(refusal.Fields) > 0 {
		return nil, refusal
	}
	if proto.Equal(s.seller, req.GetSeller()) {
		return nil, nil
	}
	return []proto.Message{&jobv1.SellerSet{Seller: req.GetSeller(), SetBy: in.Actor.Person}}, nil
}

// checkParty names what the standard has against a party, by the request's fields.
func checkParty(refusal *fault.Error, path string, p *jobv1.Party, e *en16931.Party) {
	if !en16931.KnownCountry(p.GetCountry()) {
		refusal.WithField(path+".country", "%q is no country of ISO 3166-1 (BR-CL-14)", p.GetCountry())
	}
	if (p.GetEndpoint() == "") != (p.GetEndpointScheme() == "") {
		refusal.WithField(path+".endpoint_scheme", "give endpoint and scheme together (BR-62, BR-63)")
	}
	if p.GetEndpointScheme() != "" && !en16931.KnownEndpointScheme(p.GetEndpointScheme()) {
		refusal.WithField(path+".endpoint_scheme", "%q is no scheme of electronic addresses (PEPPOL-EN16931-CL008)", p.GetEndpointScheme())
	}
	for _, f := range en16931.CheckParty(e) {
		refusal.WithField(path+"."+f.Field, "%s (%s)", f.Text, f.Rule)
	}
}

// setBilling checks how a job is to be billed, and keeps the form of it in which the parties are sealed.
func setBilling(j *Job, c *catalogue.Catalogue, req *jobv1.SetBillingRequest, kept *jobv1.Billing) ([]proto.Message, error) {
	if err := checkBilling(req.GetBilling(), c.Message().GetCurrencyCode()); err != nil {
		return nil, err
	}
	if proto.Equal(j.Billing, kept) {
		return nil, nil
	}
	return []proto.Message{&jobv1.BillingSet{Job: j.Name, Billing: kept}}, nil
}

// recordAdvance keeps money that came before the invoice.
func recordAdvance(j *Job, c *catalogue.Catalogue, in sitelog.Input, req *jobv1.RecordAdvanceRequest) ([]proto.Message, error) {
	payer := orElse(req.GetPayer(), payerCustomer)
	if !slices.ContainsFunc(j.payers(), func(p *jobv1.Payer) bool { return p.GetId() == payer }) {
		return nil, fault.New(fault.Invalid, "PAYER_UNKNOWN", "%s has no payer %s; set the billing first", j.Name, payer).
			WithField("payer", "must be customer or a payer of the job's billing")
	}
	a, currency := req.GetAmount(), c.Message().GetCurrencyCode()
	switch {
	case a.GetCurrencyCode() != currency:
		return nil, fault.New(fault.Invalid, "CURRENCY_DIFFERS", "the job is priced in %s", currency).
			WithField("amount.currency_code", "must be %s (PEPPOL-EN16931-R051)", currency)
	case a.GetMinorUnits() <= 0 || a.GetMinorUnits() >= maxMinor:
		return nil, fault.New(fault.Invalid, "AMOUNT_RANGE", "an advance is more than nothing and less than 10^12").
			WithField("amount.minor_units", "must be positive and below 10^12 units (AMOUNT_RANGE)")
	}
	return []proto.Message{&jobv1.AdvanceRecorded{Job: j.Name, Advance: &jobv1.Advance{
		Payer: payer, Amount: a, How: req.GetHow(), At: timestamppb.New(in.Now),
	}}}, nil
}

// numbered gives a bill its number, and with it the document that is kept for ever.
func (j *Job) numbered(b *bill, seller *jobv1.Seller, series string, sequence uint64, in sitelog.Input) (*jobv1.Invoice, error) {
	number := fmt.Sprintf("%s-%06d", series, sequence)
	b.doc.Number = number
	for n := range b.doc.Payments {
		b.doc.Payments[n].Remittance = number
	}
	invoice := j.invoice(b)
	if err := stamped(invoice, b.doc, in); err != nil {
		return nil, err
	}
	invoice.Structured = seller != nil
	return invoice, nil
}

// stamped puts number, moment, person and document on an invoice.
func stamped(i *jobv1.Invoice, d *en16931.Invoice, in sitelog.Input) error {
	text, err := en16931.WriteJSON(d)
	if err != nil {
		return fault.New(fault.Precondition, "INVOICE_NOT_COMPUTABLE", "the invoice cannot be written: %v", err)
	}
	i.Number, i.Document = d.Number, text
	i.IssuedAt, i.IssuedBy = timestamppb.New(in.Now), in.Actor.Person
	return nil
}

func invoiceUnknown(j *Job, number string) error {
	return fault.New(fault.NotFound, "INVOICE_NOT_FOUND", "%s has no invoice %s", j.Name, number).
		WithField("invoice", "must be a number of the job's invoices")
}

// settleLookback gives the outcome of an audit that was re-opened after closing.
func settleLookback(j *Job, in sitelog.Input, req *jobv1.SettleLookbackRequest) ([]proto.Message, error) {
	if !j.lookbackOpen() {
		return nil, fault.New(fault.Precondition, "LOOKBACK_NOT_OPEN", "no audit of %s was re-opened after closing that wants an outcome", j.Name)
	}
	return []proto.Message{&jobv1.LookbackSettled{Job: j.Name, Lookback: &jobv1.Lookback{
		Outcome: req.GetOutcome(), Note: req.GetNote(), By: in.Actor.Person, At: timestamppb.New(in.Now),
	}}}, nil
}
