package ubl

import (
	"strings"

	"ramprow/internal/engine/billing/en16931"
)

func identifier(n *node) *en16931.Identifier {
	if n == nil {
		return nil
	}
	return &en16931.Identifier{Value: n.text, Scheme: n.attr("schemeID")}
}

func (r *reader) party(n *node) en16931.Party {
	if n == nil {
		return en16931.Party{}
	}
	p := en16931.Party{
		Endpoint: identifier(n.find("cbc:EndpointID")), TradingName: n.value("cac:PartyName/cbc:Name"),
		Address: address(n.find("cac:PostalAddress")), Name: n.value("cac:PartyLegalEntity/cbc:RegistrationName"),
		Registration: identifier(n.find("cac:PartyLegalEntity/cbc:CompanyID")), LegalForm: n.value("cac:PartyLegalEntity/cbc:CompanyLegalForm"),
		ContactName: n.value("cac:Contact/cbc:Name"), Phone: n.value("cac:Contact/cbc:Telephone"), Email: n.value("cac:Contact/cbc:ElectronicMail"),
	}
	for _, id := range n.all("cac:PartyIdentification") {
		if own := identifier(id.find("cbc:ID")); own != nil {
			p.Identifiers = append(p.Identifiers, *own)
		}
	}
	p.VATID, p.TaxID = taxSchemes(n)
	return p
}

func taxSchemes(n *node) (vat, other string) {
	for _, scheme := range n.all("cac:PartyTaxScheme") {
		id := scheme.value("cbc:CompanyID")
		if strings.EqualFold(scheme.value("cac:TaxScheme/cbc:ID"), "VAT") {
			vat = id
		} else {
			other = id
		}
	}
	return vat, other
}

func address(n *node) *en16931.Address {
	if n == nil {
		return nil
	}
	return &en16931.Address{
		Street: n.value("cbc:StreetName"), Additional: n.value("cbc:AdditionalStreetName"), ThirdLine: n.value("cac:AddressLine/cbc:Line"),
		City: n.value("cbc:CityName"), PostCode: n.value("cbc:PostalZone"), Subdivision: n.value("cbc:CountrySubentity"),
		Country: n.value("cac:Country/cbc:IdentificationCode"),
	}
}

// others reads the payee and the tax representative.
func (r *reader) others() {
	if n := r.root.find("cac:PayeeParty"); n != nil {
		r.inv.Payee = &en16931.Payee{
			Name: n.value("cac:PartyName/cbc:Name"), Identifier: identifier(n.find("cac:PartyIdentification/cbc:ID")),
			Registration: identifier(n.find("cac:PartyLegalEntity/cbc:CompanyID")),
		}
	}
	if n := r.root.find("cac:TaxRepresentativeParty"); n != nil {
		vat, other := taxSchemes(n)
		r.inv.Representative = &en16931.Party{
			Name: n.value("cac:PartyName/cbc:Name"), Address: address(n.find("cac:PostalAddress")), VATID: vat, TaxID: other,
		}
	}
}

func (r *reader) delivery() {
	n := r.root.find("cac:Delivery")
	if n == nil {
		return
	}
	r.inv.Delivery = &en16931.Delivery{
		Date: r.date(n, "cbc:ActualDeliveryDate"), Name: n.value("cac:DeliveryParty/cac:PartyName/cbc:Name"),
		Location: identifier(n.find("cac:DeliveryLocation/cbc:ID")), Address: address(n.find("cac:DeliveryLocation/cac:Address")),
	}
}

func (r *reader) payments() {
	for _, n := range r.root.all("cac:PaymentMeans") {
		p := en16931.PaymentMeans{
			Code: n.value("cbc:PaymentMeansCode"), Remittance: n.value("cbc:PaymentID"),
			Card: n.value("cac:CardAccount/cbc:PrimaryAccountNumberID"), CardNetwork: n.value("cac:CardAccount/cbc:NetworkID"),
			CardHolder: n.value("cac:CardAccount/cbc:HolderName"),
			Account:    n.value("cac:PayeeFinancialAccount/cbc:ID"), AccountName: n.value("cac:PayeeFinancialAccount/cbc:Name"),
			Provider: n.value("cac:PayeeFinancialAccount/cac:FinancialInstitutionBranch/cbc:ID"),
			Mandate:  n.value("cac:PaymentMandate/cbc:ID"), DebitAccount: n.value("cac:PaymentMandate/cac:PayerFinancialAccount/cbc:ID"),
		}
		if code := n.find("cbc:PaymentMeansCode"); code != nil {
			p.Text = code.attr("name")
		}
		n.value("cbc:PaymentDueDate")
		r.inv.Payments = append(r.inv.Payments, p)
	}
	r.inv.PaymentTerms = r.root.value("cac:PaymentTerms/cbc:Note")
}
