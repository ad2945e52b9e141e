package ubl

import "ramprow/internal/engine/billing/en16931"

func addIdentifier(n *node, name string, id *en16931.Identifier) {
	if id != nil {
		n.add(name, id.Value, attr{"schemeID", id.Scheme})
	}
}

func (w writer) party(n *node, p *en16931.Party) {
	addIdentifier(n, "cbc:EndpointID", p.Endpoint)
	for k := range p.Identifiers {
		addIdentifier(n.group("cac:PartyIdentification"), "cbc:ID", &p.Identifiers[k])
	}
	n.group("cac:PartyName").add("cbc:Name", p.TradingName)
	addAddress(n, "cac:PostalAddress", p.Address)
	addTaxScheme(n, p.VATID, "VAT")
	addTaxScheme(n, p.TaxID, "TAX")
	legal := n.group("cac:PartyLegalEntity")
	legal.add("cbc:RegistrationName", p.Name)
	addIdentifier(legal, "cbc:CompanyID", p.Registration)
	legal.add("cbc:CompanyLegalForm", p.LegalForm)
	contact := n.group("cac:Contact")
	contact.add("cbc:Name", p.ContactName)
	contact.add("cbc:Telephone", p.Phone)
	contact.add("cbc:ElectronicMail", p.Email)
}

func addTaxScheme(n *node, id, scheme string) {
	if id != "" {
		tax := n.group("cac:PartyTaxScheme")
		tax.add("cbc:CompanyID", id)
		tax.group("cac:TaxScheme").add("cbc:ID", scheme)
	}
}

func addAddress(n *node, name string, a *en16931.Address) {
	if a == nil {
		return
	}
	address := n.group(name)
	address.add("cbc:StreetName", a.Street)
	address.add("cbc:AdditionalStreetName", a.Additional)
	address.add("cbc:CityName", a.City)
	address.add("cbc:PostalZone", a.PostCode)
	address.add("cbc:CountrySubentity", a.Subdivision)
	address.group("cac:AddressLine").add("cbc:Line", a.ThirdLine)
	address.group("cac:Country").add("cbc:IdentificationCode", a.Country)
}

func (w writer) payee(root *node) {
	if p := w.inv.Payee; p != nil {
		n := root.group("cac:PayeeParty")
		addIdentifier(n.group("cac:PartyIdentification"), "cbc:ID", p.Identifier)
		n.group("cac:PartyName").add("cbc:Name", p.Name)
		addIdentifier(n.group("cac:PartyLegalEntity"), "cbc:CompanyID", p.Registration)
	}
}

func (w writer) representative(root *node) {
	if p := w.inv.Representative; p != nil {
		n := root.group("cac:TaxRepresentativeParty")
		n.group("cac:PartyName").add("cbc:Name", p.Name)
		addAddress(n, "cac:PostalAddress", p.Address)
		addTaxScheme(n, p.VATID, "VAT")
	}
}

func (w writer) delivery(root *node) {
	if d := w.inv.Delivery; d != nil {
		n := root.group("cac:Delivery")
		n.add("cbc:ActualDeliveryDate", string(d.Date))
		location := n.group("cac:DeliveryLocation")
		addIdentifier(location, "cbc:ID", d.Location)
		addAddress(location, "cac:Address", d.Address)
		n.group("cac:DeliveryParty").group("cac:PartyName").add("cbc:Name", d.Name)
	}
}

// payments: a credit note has its due date here.
func (w writer) payments(root *node) {
	for _, p := range w.inv.Payments {
		n := root.group("cac:PaymentMeans")
		n.add("cbc:PaymentMeansCode", p.Code, attr{"name", p.Text})
		if w.inv.Credit {
			n.add("cbc:PaymentDueDate", string(w.inv.DueDate))
		}
		n.add("cbc:PaymentID", p.Remittance)
		card := n.group("cac:CardAccount")
		card.add("cbc:PrimaryAccountNumberID", p.Card)
		card.add("cbc:NetworkID", p.CardNetwork)
		card.add("cbc:HolderName", p.CardHolder)
		account := n.group("cac:PayeeFinancialAccount")
		account.add("cbc:ID", p.Account)
		account.add("cbc:Name", p.AccountName)
		account.group("cac:FinancialInstitutionBranch").add("cbc:ID", p.Provider)
		mandate := n.group("cac:PaymentMandate")
		mandate.add("cbc:ID", p.Mandate)
		mandate.group("cac:PayerFinancialAccount").add("cbc:ID", p.DebitAccount)
	}
	root.group("cac:PaymentTerms").add("cbc:Note", w.inv.PaymentTerms)
}
