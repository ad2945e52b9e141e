package job

import (
	"ramprow/internal/engine/billing/en16931"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// party is a party as the standard writes it.
func party(p *jobv1.Party) en16931.Party {
	out := en16931.Party{
		Name: p.GetName(), TradingName: p.GetTradingName(), VATID: p.GetVatId(), TaxID: p.GetTaxId(),
		ContactName: p.GetContactName(), Phone: p.GetPhone(), Email: p.GetEmail(),
		Address: &en16931.Address{
			Street: p.GetStreet(), Additional: p.GetAdditional(), City: p.GetCity(), PostCode: p.GetPostCode(), Country: p.GetCountry(),
		},
	}
	if p.GetRegistration() != "" {
		out.Registration = &en16931.Identifier{Value: p.GetRegistration(), Scheme: p.GetRegistrationScheme()}
	}
	if p.GetEndpoint() != "" {
		out.Endpoint = &en16931.Identifier{Value: p.GetEndpoint(), Scheme: p.GetEndpointScheme()}
	}
	return out
}

// buyer is a payer as the standard writes it. A customer of whom only name and
// address are known is taken to live in the seller's country.
func (j *Job) buyer(p *jobv1.Payer, s *jobv1.Seller) en16931.Party {
	if p.GetParty() != nil {
		return party(p.GetParty())
	}
	return en16931.Party{
		Name:    j.Customer.GetName(),
		Address: &en16931.Address{Street: j.Customer.GetAddress(), Country: s.GetParty().GetCountry()},
	}
}

// addressee is a payer as people read him, with what an invoice needs: it is kept
// for the accounts, and how to reach a private person is not part of them.
func (j *Job) addressee(p *jobv1.Payer) *jobv1.Customer {
	if p.GetParty() == nil {
		return &jobv1.Customer{Name: j.Customer.GetName(), Address: j.Customer.GetAddress()}
	}
	a := p.GetParty()
	return &jobv1.Customer{Name: a.GetName(), Address: join(a.GetStreet(), a.GetPostCode(), a.GetCity(), a.GetCountry())}
}

// join puts what is not empty behind one another.
func join(words ...string) string {
	text := ""
	for _, w := range words {
		if w != "" && text != "" {
			text += ", "
		}
		text += w
	}
	return text
}
