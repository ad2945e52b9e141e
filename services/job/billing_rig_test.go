package job

import (
	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	"ramprow/internal/catalogue"
	"ramprow/internal/platform/sitelog"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// workshop is the seller of these tests, invented.
func workshop() *jobv1.Seller {
	return &jobv1.Seller{
		Party: &jobv1.Party{
			Name: "Werkhof Sonnrain GmbH", Street: "Sonnrain 4", City: "Musterstadt", PostCode: "1010", Country: "AT", VatId: "ATU12345678",
			Endpoint: "7300010000001", EndpointScheme: "0088", ContactName: "Office", Phone: "+43 1 0000", Email: "office@workshop.example",
		},
		Iban: "AT611904300234573201", PaymentDays: 14,
	}
}

// fleet is a business that pays, with an electronic address.
func fleet(id string, shares ...*jobv1.Share) *jobv1.Payer {
	return &jobv1.Payer{Id: id, Shares: shares, BuyerReference: "order " + id, Party: &jobv1.Party{
		Name: "Fleet " + id, Street: "Lane 1", City: "Example", PostCode: "1000", Country: "AT", VatId: "ATU87654321",
		Endpoint: "7300010000018", EndpointScheme: "0088",
	}}
}

func part(kind jobv1.LineKind, basisPoints uint32) *jobv1.Share {
	return &jobv1.Share{Kind: kind, BasisPoints: basisPoints}
}

func billed(b *jobv1.Billing) decision {
	return func(j *Job, c *catalogue.Catalogue, _ sitelog.Input) ([]proto.Message, error) {
		return setBilling(j, c, &jobv1.SetBillingRequest{Billing: b}, b)
	}
}

func advancing(payer string, minor int64) decision {
	return func(j *Job, c *catalogue.Catalogue, in sitelog.Input) ([]proto.Message, error) {
		return recordAdvance(j, c, in, &jobv1.RecordAdvanceRequest{Payer: payer, Amount: euros(minor), How: "card"})
	}
}

func (s *site) sell() {
	s.t.Helper()
	events, err := setSeller(s.st, s.input(), &jobv1.SetSellerRequest{Seller: workshop()})
	if err != nil {
		s.t.Fatalf("set seller: %v", err)
	}
	s.commit(events)
}

// credit, correct and lookback decide at job 1 after it has closed.
func (s *site) credit(number string, lines ...uint32) (*jobv1.Invoice, error) {
	events, note, err := creditInvoice(s.st, s.job(), s.input(), &jobv1.CreditInvoiceRequest{Invoice: number, Reason: "agreed", Lines: lines})
	s.commit(events)
	return note, err
}

func (s *site) correct(number string, b *jobv1.Billing) (*jobv1.Invoice, error) {
	events, invoice, err := correctInvoice(s.st, s.job(), loaded()[car], s.input(), &jobv1.CorrectInvoiceRequest{Invoice: number, Reason: "wrong share", Billing: b})
	s.commit(events)
	return invoice, err
}

// authoriseLater is the customer's word at job 1 after it has closed.
func (s *site) authoriseLater(minor int64) {
	s.t.Helper()
	j, err := s.st.authorisable(job1)
	if err != nil {
		s.t.Fatalf("authorise later: %v", err)
	}
	events, err := authorise(j, s.input(), &jobv1.AuthoriseWorkRequest{UpTo: euros(minor), GivenBy: "Marta Quell", How: "telephone"})
	if err != nil {
		s.t.Fatalf("authorise later: %v", err)
	}
	s.commit(events)
}

func treatment(category string, rate uint32) *jobv1.TaxTreatment {
	t := &jobv1.TaxTreatment{Category: category, RateBasisPoints: rate}
	switch category {
	case "E":
		t.ExemptionReason = "Exempt"
	case "AE":
		t.ExemptionReason, t.ExemptionCode = "Reverse charge", "VATEX-EU-AE"
	case "K":
		t.ExemptionReason, t.ExemptionCode = "Intra-community supply", "VATEX-EU-IC"
	case "G":
		t.ExemptionReason, t.ExemptionCode = "Export", "VATEX-EU-G"
	}
	return t
}

// anyBilling draws a billing of whatever a workshop does.
func anyBilling(t *rapid.T) *jobv1.Billing {
	b := &jobv1.Billing{Labour: jobv1.LabourMode(rapid.Int32Range(0, 3).Draw(t, "labour"))}
	if b.GetLabour() == jobv1.LabourMode_LABOUR_MODE_FIXED_PRICE {
		b.FixedPrice = euros(rapid.Int64Range(0, 100_000).Draw(t, "fixed"))
	}
	whole := rapid.SampledFrom([]string{"", "", "AE", "K", "G", "E", "Z"}).Draw(t, "treatment")
	if whole != "" {
		b.Taxes = []*jobv1.TaxOfKind{{Tax: treatment(whole, 0)}}
	} else if rapid.Bool().Draw(t, "reduced parts") {
		b.Taxes = []*jobv1.TaxOfKind{{Kind: jobv1.LineKind_LINE_KIND_PART, Tax: treatment("S", 1000)}}
	}
	for range rapid.IntRange(0, 5).Draw(t, "items") {
		b.Items = append(b.Items, anyItem(t))
	}
	if rapid.Bool().Draw(t, "split") {
		b.Payers = append(b.Payers, fleet("warranty", part(jobv1.LineKind_LINE_KIND_PART, rapid.Uint32Range(0, 5000).Draw(t, "parts")), part(0, rapid.Uint32Range(0, 5000).Draw(t, "rest"))))
	}
	if rapid.Bool().Draw(t, "goodwill") {
		b.Payers = append(b.Payers, fleet("goodwill", part(jobv1.LineKind_LINE_KIND_LABOUR, rapid.Uint32Range(1, 5000).Draw(t, "labour share"))))
	}
	// Reverse charge and the like are for buyers with a VAT identifier.
	if whole != "" || rapid.Bool().Draw(t, "business") {
		b.Payers = append(b.Payers, fleet(payerCustomer))
	}
	if rapid.Bool().Draw(t, "cash") {
		b.CashUnitMinorUnits = rapid.SampledFrom([]uint32{5, 10, 100}).Draw(t, "unit")
	}
	return b
}

func anyItem(t *rapid.T) *jobv1.BillingItem {
	i := &jobv1.BillingItem{Kind: rapid.SampledFrom([]jobv1.LineKind{2, 3, 4, 5, 6, 7}).Draw(t, "kind"), Title: "Item"}
	if adjusts(i) {
		i.OnKind = jobv1.LineKind(rapid.Int32Range(0, 2).Draw(t, "on"))
		if rapid.Bool().Draw(t, "percentage") {
			i.BasisPoints = rapid.Uint32Range(1, 3000).Draw(t, "percent")
		} else {
			i.Price, i.OnKind = euros(rapid.Int64Range(1, 500).Draw(t, "off")), 0
		}
		return i
	}
	i.Quantity, i.Unit = rapid.Int64Range(1, 500).Draw(t, "quantity"), rapid.SampledFrom([]string{"", "H87", "MLT", "LTR"}).Draw(t, "unit code")
	i.Price, i.PerQuantity = euros(rapid.Int64Range(0, 20_000).Draw(t, "price")), rapid.Int64Range(0, 100).Draw(t, "per")
	return i
}
