package ubl

import "ramprow/internal/engine/billing/en16931"

func (r *reader) lines() {
	name, quantity := "cac:InvoiceLine", "cbc:InvoicedQuantity"
	if r.inv.Credit {
		name, quantity = "cac:CreditNoteLine", "cbc:CreditedQuantity"
	}
	for _, n := range r.root.all(name) {
		r.inv.Lines = append(r.inv.Lines, r.line(n, quantity))
	}
}

func (r *reader) line(n *node, quantity string) en16931.Line {
	l := en16931.Line{
		ID: n.value("cbc:ID"), Note: n.value("cbc:Note"), Quantity: r.number(n, quantity), Net: r.money(n, "cbc:LineExtensionAmount"),
		AccountingReference: n.value("cbc:AccountingCost"), Period: r.period(n), OrderLine: n.value("cac:OrderLineReference/cbc:LineID"),
	}
	if q := n.find(quantity); q != nil {
		l.Unit = q.attr("unitCode")
	}
	if object := n.find("cac:DocumentReference"); object != nil {
		l.Object = identifier(object.find("cbc:ID"))
		if kind := object.value("cbc:DocumentTypeCode"); kind != typeObject {
			r.wrong("PEPPOL-EN16931-R101", n.name+"/cac:DocumentReference", en16931.Fatal, "may only name the invoiced object (type %s), not type %.20q", typeObject, kind)
		}
	}
	for _, a := range n.all("cac:AllowanceCharge") {
		l.AllowancesAndCharges = append(l.AllowancesAndCharges, r.allowance(a))
	}
	if item := n.find("cac:Item"); item != nil {
		l.Item = r.item(item)
		if c := item.find("cac:ClassifiedTaxCategory"); c != nil {
			l.Tax = r.category(c)
		}
	}
	if price := n.find("cac:Price"); price != nil {
		l.Price = r.price(price)
	}
	return l
}

func (r *reader) item(n *node) en16931.Item {
	i := en16931.Item{
		Description: n.value("cbc:Description"), Name: n.value("cbc:Name"), BuyersID: n.value("cac:BuyersItemIdentification/cbc:ID"),
		SellersID: n.value("cac:SellersItemIdentification/cbc:ID"), StandardID: identifier(n.find("cac:StandardItemIdentification/cbc:ID")),
		Origin: n.value("cac:OriginCountry/cbc:IdentificationCode"),
	}
	for _, c := range n.all("cac:CommodityClassification") {
		if code := c.find("cbc:ItemClassificationCode"); code != nil {
			i.Classifications = append(i.Classifications, en16931.Classification{Code: code.text, List: code.attr("listID"), Version: code.attr("listVersionID")})
		}
	}
	for _, a := range n.all("cac:AdditionalItemProperty") {
		i.Attributes = append(i.Attributes, en16931.Attribute{Name: a.value("cbc:Name"), Value: a.value("cbc:Value")})
	}
	return i
}

func (r *reader) price(n *node) en16931.Price {
	p := en16931.Price{Net: r.money(n, "cbc:PriceAmount"), Per: r.number(n, "cbc:BaseQuantity")}
	if per := n.find("cbc:BaseQuantity"); per != nil {
		p.PerUnit = per.attr("unitCode")
	}
	if a := n.find("cac:AllowanceCharge"); a != nil {
		if a.value("cbc:ChargeIndicator") != "false" {
			r.wrong("PEPPOL-EN16931-R044", n.name+"/cac:AllowanceCharge", en16931.Fatal, "a price has no charge, only a discount")
		}
		p.Discount, p.Gross = r.money(a, "cbc:Amount"), r.money(a, "cbc:BaseAmount")
	}
	return p
}
