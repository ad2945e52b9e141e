package ubl

import (
	"github.com/shopspring/decimal"

	"ramprow/internal/engine/billing/en16931"
)

func (w writer) line(root *node, l *en16931.Line) {
	name, quantity := "cac:InvoiceLine", "cbc:InvoicedQuantity"
	if w.inv.Credit {
		name, quantity = "cac:CreditNoteLine", "cbc:CreditedQuantity"
	}
	n := root.group(name)
	n.add("cbc:ID", l.ID)
	n.add("cbc:Note", l.Note)
	addNumber(n, quantity, l.Quantity, attr{"unitCode", l.Unit})
	addMoney(n, "cbc:LineExtensionAmount", l.Net)
	n.add("cbc:AccountingCost", l.AccountingReference)
	addPeriod(n.group("cac:InvoicePeriod"), l.Period)
	n.group("cac:OrderLineReference").add("cbc:LineID", l.OrderLine)
	if l.Object != nil {
		object := n.group("cac:DocumentReference")
		addIdentifier(object, "cbc:ID", l.Object)
		object.add("cbc:DocumentTypeCode", typeObject)
	}
	for k := range l.AllowancesAndCharges {
		w.allowance(n, &l.AllowancesAndCharges[k])
	}
	w.item(n.group("cac:Item"), l)
	w.price(n.group("cac:Price"), &l.Price)
}

func (w writer) item(n *node, l *en16931.Line) {
	i := &l.Item
	n.add("cbc:Description", i.Description)
	n.add("cbc:Name", i.Name)
	n.group("cac:BuyersItemIdentification").add("cbc:ID", i.BuyersID)
	n.group("cac:SellersItemIdentification").add("cbc:ID", i.SellersID)
	addIdentifier(n.group("cac:StandardItemIdentification"), "cbc:ID", i.StandardID)
	n.group("cac:OriginCountry").add("cbc:IdentificationCode", i.Origin)
	for _, c := range i.Classifications {
		n.group("cac:CommodityClassification").add("cbc:ItemClassificationCode", c.Code, attr{"listID", c.List}, attr{"listVersionID", c.Version})
	}
	addCategory(n.group("cac:ClassifiedTaxCategory"), l.Tax, "", "")
	for _, a := range i.Attributes {
		property := n.group("cac:AdditionalItemProperty")
		property.add("cbc:Name", a.Name)
		property.add("cbc:Value", a.Value)
	}
}

func (w writer) price(n *node, p *en16931.Price) {
	addMoney(n, "cbc:PriceAmount", p.Net)
	addNumber(n, "cbc:BaseQuantity", p.Per, attr{"unitCode", p.PerUnit})
	if p.Gross == nil {
		return
	}
	discount := p.Discount
	if discount == nil {
		discount = en16931.New(decimal.Decimal{}, p.Gross.Currency)
	}
	allowance := n.group("cac:AllowanceCharge")
	addBool(allowance, "cbc:ChargeIndicator", false)
	addMoney(allowance, "cbc:Amount", discount)
	addMoney(allowance, "cbc:BaseAmount", p.Gross)
}
