package job

import (
	"testing"
	"time"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/engine/billing/en16931"
	"ramprow/internal/platform/fault"
	jobv1 "ramprow/proto/ramprow/job/v1"
	torqueauditv1 "ramprow/proto/ramprow/torque_audit/v1"
)

const (
	labourLine     = jobv1.LineKind_LINE_KIND_LABOUR
	partLine       = jobv1.LineKind_LINE_KIND_PART
	consumableLine = jobv1.LineKind_LINE_KIND_CONSUMABLE
	depositLine    = jobv1.LineKind_LINE_KIND_DEPOSIT
	discountLine   = jobv1.LineKind_LINE_KIND_DISCOUNT
	surchargeLine  = jobv1.LineKind_LINE_KIND_SURCHARGE
	returnedLine   = jobv1.LineKind_LINE_KIND_DEPOSIT_RETURNED
)

// sumOf adds what an invoice says of one kind.
func sumOf(i *jobv1.Invoice, kind jobv1.LineKind) int64 {
	var sum int64
	for _, l := range i.GetLines() {
		if l.GetKind() == kind {
			sum += l.GetNet().GetMinorUnits()
		}
	}
	return sum
}

// Each way of billing, computed again by hand. The demo's rate is 20 %.
func TestBillingModes(t *testing.T) {
	s := proved(t, "follower-4")
	labour, parts := s.job().Plan.GetLabourEstimate().GetMinorUnits(), s.job().Plan.GetPartsEstimate().GetMinorUnits()
	rate := loaded()[car].Message().GetLabourRateMinorUnits()
	tests := []struct {
		name    string
		billing *jobv1.Billing
		kind    jobv1.LineKind
		want    int64 // of that kind
	}{
		{"labour as agreed", &jobv1.Billing{}, labourLine, labour},
		{"labour by the time taken", &jobv1.Billing{Labour: jobv1.LabourMode_LABOUR_MODE_TIME_TAKEN}, labourLine, halfUp(int64(len(s.job().Plan.GetSteps()))*10*rate, 60)},
		{"labour at a fixed price", &jobv1.Billing{Labour: jobv1.LabourMode_LABOUR_MODE_FIXED_PRICE, FixedPrice: euros(199_00)}, labourLine, 199_00},
		{"a consumable by the litre, price per 100", &jobv1.Billing{Items: []*jobv1.BillingItem{
			{Kind: consumableLine, Title: "Cleaner", Quantity: 350, Unit: "MLT", Price: euros(2_75), PerQuantity: 100},
		}}, consumableLine, 9_63},
		{"a deposit", &jobv1.Billing{Items: []*jobv1.BillingItem{{Kind: depositLine, Title: "Old unit", Quantity: 1, Price: euros(60_00)}}}, depositLine, 60_00},
		{"a deposit returned", &jobv1.Billing{Items: []*jobv1.BillingItem{{Kind: returnedLine, Title: "Old unit", Quantity: 1, Price: euros(60_00)}}}, returnedLine, -60_00},
		{"a discount on parts", &jobv1.Billing{Items: []*jobv1.BillingItem{{Kind: discountLine, Title: "Regular", BasisPoints: 1000, OnKind: partLine}}}, discountLine, -halfUp(parts, 10)},
		{"a surcharge on everything", &jobv1.Billing{Items: []*jobv1.BillingItem{{Kind: surchargeLine, Title: "Night", BasisPoints: 500}}}, surchargeLine, halfUp((labour+parts)*5, 100)},
		{"a fixed discount", &jobv1.Billing{Items: []*jobv1.BillingItem{{Kind: discountLine, Title: "Voucher", Price: euros(5_00)}}}, discountLine, -5_00},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			j := s.job().clone()
			j.Billing = tt.billing
			invoices, _ := j.preview(loaded()[car], workshop(), s.now)
			if len(invoices) != 1 || sumOf(invoices[0], tt.kind) != tt.want {
				t.Errorf("got %d, want %d: %v", sumOf(invoices[0], tt.kind), tt.want, invoices)
			}
		})
	}
}

// Warranty pays the parts and half of the labour: one invoice each, numbers in a
// row, both closed by one commit; what each pays is his own.
func TestSeveralPayers(t *testing.T) {
	s := proved(t, "follower-4")
	s.sell()
	s.do(billed(&jobv1.Billing{Payers: []*jobv1.Payer{fleet("warranty", part(partLine, 10_000), part(labourLine, 5_000))}, CashUnitMinorUnits: 5}))
	s.do(advancing(payerCustomer, 20_00))
	before := len(s.log)
	customer, err := s.close(job1)
	if err != nil {
		t.Fatal(err)
	}
	wantNames(t, []proto.Message{s.log[before].Message, s.log[before+1].Message}, "InvoiceClosed InvoiceClosed")
	warranty := s.job().Invoices[0]
	plan := s.job().Plan
	labour := plan.GetLabourEstimate().GetMinorUnits()
	if warranty.GetNumber() != "2026-000001" || customer.GetNumber() != "2026-000002" || warranty.GetPayer() != "warranty" || customer.GetPayer() != payerCustomer {
		t.Errorf("numbers %s of %s, %s of %s", warranty.GetNumber(), warranty.GetPayer(), customer.GetNumber(), customer.GetPayer())
	}
	if sumOf(warranty, partLine) != plan.GetPartsEstimate().GetMinorUnits() || sumOf(customer, partLine) != 0 {
		t.Errorf("parts: warranty %d, customer %d", sumOf(warranty, partLine), sumOf(customer, partLine))
	}
	if sumOf(warranty, labourLine)+sumOf(customer, labourLine) != labour {
		t.Errorf("labour: %d and %d of %d", sumOf(warranty, labourLine), sumOf(customer, labourLine), labour)
	}
	if customer.GetPrepaid().GetMinorUnits() != 20_00 || customer.GetPayable().GetMinorUnits()%5 != 0 ||
		customer.GetPayable().GetMinorUnits() != customer.GetGross().GetMinorUnits()-20_00+customer.GetRounding().GetMinorUnits() {
		t.Errorf("to pay %v of %v, prepaid %v, rounding %v", customer.GetPayable(), customer.GetGross(), customer.GetPrepaid(), customer.GetRounding())
	}
	for _, i := range s.job().Invoices {
		if _, err := recordPayment(s.job(), &jobv1.RecordPaymentRequest{Amount: euros(payable(i) + 1), Invoice: i.GetNumber(), How: "card"}); fault.ReasonOf(err) != "AMOUNT_RANGE" {
			t.Errorf("%s took more than it asks for: %v", i.GetNumber(), err)
		}
		events, err := recordPayment(s.job(), &jobv1.RecordPaymentRequest{Amount: euros(payable(i)), Invoice: i.GetNumber(), How: "card"})
		if err != nil {
			t.Fatal(err)
		}
		s.commit(events)
		if s.job().openSum(i) != 0 {
			t.Errorf("%d of %s is open", s.job().openSum(i), i.GetNumber())
		}
	}
}

// Without a seller a job closes as ever, and its document is no structured one;
// with one, what the buyer lacks is named with who can give it.
func TestWhatTheDocumentLacks(t *testing.T) {
	s := proved(t, "follower-4")
	if invoice, err := s.close(job1); err != nil || invoice.GetStructured() {
		t.Errorf("without a seller: %v, %v", invoice, err)
	}
	s = proved(t, "follower-4")
	s.sell()
	s.do(billed(&jobv1.Billing{Taxes: []*jobv1.TaxOfKind{{Tax: treatment("AE", 0)}}}))
	_, unmet := s.job().preview(loaded()[car], s.st.seller, s.now)
	if len(unmet) != 1 || unmet[0].GetType() != "BUYER_INCOMPLETE" || unmet[0].GetWho() != dispatcher {
		t.Errorf("reverse charge to a private person: %v", unmet)
	}
	_, err := s.close(job1)
	if fault.ReasonOf(err) != "INVOICE_NOT_READY" {
		t.Errorf("closed with an invalid document: %v", err)
	}
	blank := fleet(payerCustomer)
	blank.Party.Name = "  "
	s.do(billed(&jobv1.Billing{Payers: []*jobv1.Payer{blank}}))
	if _, unmet = s.job().preview(loaded()[car], s.st.seller, s.now); len(unmet) != 1 || unmet[0].GetType() != "BUYER_INCOMPLETE" {
		t.Errorf("a name of spaces: %v", unmet)
	}
	s.do(billed(&jobv1.Billing{Taxes: []*jobv1.TaxOfKind{{Tax: treatment("AE", 0)}}, Payers: []*jobv1.Payer{fleet(payerCustomer)}}))
	if invoice, err := s.close(job1); err != nil || !invoice.GetStructured() || invoice.GetTax().GetMinorUnits() != 0 {
		t.Errorf("reverse charge to a business: %v, %v", invoice, err)
	}
}

// More than was authorised is not billed until the customer has been asked again.
func TestBillAboveTheAuthorisation(t *testing.T) {
	s := proved(t, "follower-4")
	s.do(billed(&jobv1.Billing{Items: []*jobv1.BillingItem{{Kind: consumableLine, Title: "Gold leaf", Quantity: 1, Price: euros(20_000_00)}}}))
	_, err := s.close(job1)
	if f, ok := err.(*fault.Error); !ok || f.Unmet[0].Type != "AUTHORITY_SHORT" { //nolint:errorlint // decisions give exactly this type
		t.Fatalf("got %v", err)
	}
	s.do(authorising(30_000_00))
	if _, err := s.close(job1); err != nil {
		t.Error(err)
	}
}

// Number signs in what people write are not taken for the subject code of a note (BR-CL-08).
func TestRemarks(t *testing.T) {
	for text, want := range map[string]string{
		"agreed": "agreed", "order #12": "order #12", "#1 and #2": "#1 and #2", "as #ABC# says": "as No. ABCNo.  says", "#äöü#": "No. äöüNo. ",
	} {
		if got := remark(text); got != want || en16931.SubjectCode(got) != "" {
			t.Errorf("%q is written %q", text, got)
		}
	}
}

func TestCreditNotes(t *testing.T) {
	s := proved(t, "follower-4")
	s.sell()
	invoice, err := s.close(job1)
	if err != nil {
		t.Fatal(err)
	}
	asClosed := proto.CloneOf(s.job().Invoice)
	one, err := s.credit(invoice.GetNumber(), 1)
	if err != nil || one.GetNumber() != "C2026-000001" || one.GetCredits() != invoice.GetNumber() || one.GetNet().GetMinorUnits() != invoice.GetLines()[0].GetNet().GetMinorUnits() {
		t.Fatalf("got %v, %v", one, err)
	}
	_, err = s.credit(invoice.GetNumber(), 1)
	wantRefusal(t, err, "LINE_CREDITED", "lines[0]")
	_, err = s.credit(invoice.GetNumber(), 99)
	wantRefusal(t, err, "LINE_UNKNOWN", "lines[0]")
	_, err = s.credit("2026-000099")
	wantRefusal(t, err, "INVOICE_NOT_FOUND", "invoice")
	rest, err := s.credit(invoice.GetNumber())
	if err != nil || one.GetNet().GetMinorUnits()+rest.GetNet().GetMinorUnits() != invoice.GetNet().GetMinorUnits() {
		t.Fatalf("the rest is %v of %v: %v", rest.GetNet(), invoice.GetNet(), err)
	}
	_, err = s.credit(invoice.GetNumber())
	wantRefusal(t, err, "INVOICE_CREDITED")
	if !proto.Equal(asClosed, s.job().Invoice) {
		t.Error("the closed invoice changed")
	}
}

func TestCorrection(t *testing.T) {
	s := proved(t, "follower-4")
	s.sell()
	s.do(billed(&jobv1.Billing{Payers: []*jobv1.Payer{fleet(payerCustomer)}}))
	invoice, err := s.close(job1)
	if err != nil {
		t.Fatal(err)
	}
	less := &jobv1.Billing{Payers: []*jobv1.Payer{fleet(payerCustomer)}, Items: []*jobv1.BillingItem{{Kind: discountLine, Title: "Goodwill", BasisPoints: 2000}}}
	anew, err := s.correct(invoice.GetNumber(), less)
	if err != nil {
		t.Fatal(err)
	}
	note := s.job().CreditNotes[0].GetCreditNote()
	if note.GetGross().GetMinorUnits() != invoice.GetGross().GetMinorUnits() || anew.GetNumber() != "2026-000002" || anew.GetGross().GetMinorUnits() >= invoice.GetGross().GetMinorUnits() {
		t.Errorf("credited %v, then %s over %v", note.GetGross(), anew.GetNumber(), anew.GetGross())
	}
	d, err := documentOf(s.job().Invoices[1])
	if err != nil || len(d.Preceding) != 1 || d.Preceding[0].Number != invoice.GetNumber() || len(documentFindings(d)) > 0 {
		t.Errorf("the new document: %v, %v", d, err)
	}
	more := &jobv1.Billing{Items: []*jobv1.BillingItem{{Kind: consumableLine, Title: "Gold leaf", Quantity: 1, Price: euros(20_000_00)}}}
	if _, err := s.correct(anew.GetNumber(), more); fault.ReasonOf(err) != "INVOICE_NOT_READY" {
		t.Errorf("more than authorised: %v", err)
	}
	s.authoriseLater(30_000_00)
	dearer, err := s.correct(anew.GetNumber(), more)
	if err != nil || dearer.GetNet().GetMinorUnits() < 20_000_00 || s.job().stage() != jobv1.JobState_JOB_STATE_CLOSED {
		t.Errorf("after the customer's word: %v (%v)", dearer, err)
	}
	if s.job().openSum(s.job().Invoices[0]) != 0 {
		t.Errorf("%d is open of the credited invoice", s.job().openSum(s.job().Invoices[0]))
	}
}

// An audit re-opened after closing shows on the job until somebody says what came of it.
func TestLookbackWantsAnOutcome(t *testing.T) {
	s := proved(t, "follower-4")
	if _, err := s.close(job1); err != nil {
		t.Fatal(err)
	}
	settle := func() error {
		events, err := settleLookback(s.job(), s.input(), &jobv1.SettleLookbackRequest{Outcome: jobv1.LookbackOutcome_LOOKBACK_OUTCOME_CHECKED, Note: "all within the limits"})
		s.commit(events)
		return err
	}
	wantRefusal(t, settle(), "LOOKBACK_NOT_OPEN")
	reopen := &torqueauditv1.SheetReopened{Job: job1, PlanRevision: s.job().Plan.GetRevision(), Reason: "the wrench was off", Joints: []string{"cover"}}
	s.hear(reopen)
	shown := s.job().resource()
	if len(shown.GetUnmet()) != 1 || shown.GetUnmet()[0].GetType() != "LOOKBACK_OPEN" || s.job().summary(s.st).GetWaitingFor() == "" || len(s.job().indexes()) != 3 {
		t.Fatalf("shown: %v", shown.GetUnmet())
	}
	if err := settle(); err != nil {
		t.Fatal(err)
	}
	if shown := s.job().resource(); len(shown.GetUnmet()) != 0 || shown.GetLookback() == "" {
		t.Errorf("after the outcome: %v %q", shown.GetUnmet(), shown.GetLookback())
	}
	s.wait(time.Hour)
	s.prove()
	s.hear(reopen)
	if !s.job().lookbackOpen() {
		t.Error("the second time nobody asks")
	}
}

func TestBillingRefusals(t *testing.T) {
	item := func(change func(*jobv1.BillingItem)) *jobv1.Billing {
		i := &jobv1.BillingItem{Kind: consumableLine, Title: "Cleaner", Quantity: 1, Price: euros(100)}
		change(i)
		return &jobv1.Billing{Items: []*jobv1.BillingItem{i}}
	}
	taxed := func(t *jobv1.TaxTreatment) *jobv1.Billing {
		return &jobv1.Billing{Taxes: []*jobv1.TaxOfKind{{Tax: t}}}
	}
	tests := []struct {
		name    string
		billing *jobv1.Billing
		field   string
	}{
		{"unknown tax category", taxed(treatment("X", 2000)), "billing.taxes[0].tax.category"},
		{"standard rate of nothing", taxed(treatment("S", 0)), "billing.taxes[0].tax.rate_basis_points"},
		{"exempt at 20 %", taxed(treatment("E", 2000)), "billing.taxes[0].tax.rate_basis_points"},
		{"exempt without reason", taxed(&jobv1.TaxTreatment{Category: "E"}), "billing.taxes[0].tax.exemption_reason"},
		{"a reason that is another's", taxed(&jobv1.TaxTreatment{Category: "E", ExemptionCode: "VATEX-EU-AE"}), "billing.taxes[0].tax.exemption_code"},
		{"a negative price", item(func(i *jobv1.BillingItem) { i.Price = euros(-1) }), "billing.items[0].price.minor_units"},
		{"no quantity", item(func(i *jobv1.BillingItem) { i.Quantity = 0 }), "billing.items[0].quantity"},
		{"an unknown unit", item(func(i *jobv1.BillingItem) { i.Unit = "XYZ" }), "billing.items[0].unit"},
		{"10^12", item(func(i *jobv1.BillingItem) { i.Price = euros(maxMinor) }), "billing.items[0].price.minor_units"},
		{"10^12 in all", item(func(i *jobv1.BillingItem) { i.Price, i.Quantity = euros(1_000_000_00), 1_000_000 }), "billing.items[0].quantity"},
		{"another currency", item(func(i *jobv1.BillingItem) { i.Price.CurrencyCode = "SEK" }), "billing.items[0].price.currency_code"},
		{"no price", item(func(i *jobv1.BillingItem) { i.Price = nil }), "billing.items[0].price"},
		{"percent of a part", item(func(i *jobv1.BillingItem) { i.BasisPoints = 1 }), "billing.items[0].basis_points"},
		{"fixed price without a price", &jobv1.Billing{Labour: jobv1.LabourMode_LABOUR_MODE_FIXED_PRICE}, "billing.fixed_price"},
		{"a payer twice", &jobv1.Billing{Payers: []*jobv1.Payer{fleet("a", part(0, 1)), fleet("a", part(0, 1))}}, "billing.payers[1].id"},
		{"more than the whole", &jobv1.Billing{Payers: []*jobv1.Payer{fleet("a", part(0, 6000)), fleet("b", part(0, 6000))}}, "billing.payers"},
		{"the customer with a share", &jobv1.Billing{Payers: []*jobv1.Payer{fleet(payerCustomer, part(0, 1))}}, "billing.payers[0].shares"},
		{"no country", &jobv1.Billing{Payers: []*jobv1.Payer{{Id: payerCustomer, Party: &jobv1.Party{Name: "A", Country: "UK"}}}}, "billing.payers[0].party.country"},
		{"a GLN that is none", &jobv1.Billing{Payers: []*jobv1.Payer{{Id: payerCustomer, Party: &jobv1.Party{Name: "A", Country: "AT", Endpoint: "1", EndpointScheme: "0088"}}}}, "billing.payers[0].party.endpoint"},
	}
	s := proved(t, "follower-4")
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			_, err := s.try(billed(tt.billing))
			wantRefusal(t, err, "BILLING_INVALID", tt.field)
		})
	}
	_, err := s.try(advancing("nobody", 1))
	wantRefusal(t, err, "PAYER_UNKNOWN", "payer")
	_, err = s.try(advancing("", 0))
	wantRefusal(t, err, "AMOUNT_RANGE", "amount.minor_units")
	seller := workshop()
	seller.Party.VatId, seller.Party.Country = "12345678", "XY"
	_, err = setSeller(s.st, s.input(), &jobv1.SetSellerRequest{Seller: seller})
	wantRefusal(t, err, "SELLER_INVALID", "seller.party.country", "seller.party.vat_id")
}
