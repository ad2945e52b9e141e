package en16931

import "fmt"

// required: BR-01 to BR-05 and BR-12 to BR-16, what every document has.
func (c *checker) required() {
	i := c.inv
	c.want(i.Specification != "", "BR-01", "specification (BT-24)", "is missing; it names the specification that the document follows")
	c.want(i.Number != "", "BR-02", "number (BT-1)", "is missing")
	c.want(i.IssueDate != "", "BR-03", "issue_date (BT-2)", "is missing")
	c.want(i.TypeCode != "", "BR-04", "type_code (BT-3)", "is missing; 380 is an invoice, 381 a credit note")
	c.want(i.Currency != "", "BR-05", "currency (BT-5)", "is missing")
	c.want(i.Totals.Lines != nil, "BR-12", "totals.lines (BT-106)", "is missing")
	c.want(i.Totals.Net != nil, "BR-13", "totals.net (BT-109)", "is missing")
	c.want(i.Totals.Gross != nil, "BR-14", "totals.gross (BT-112)", "is missing")
	c.want(i.Totals.Payable != nil, "BR-15", "totals.payable (BT-115)", "is missing")
	c.want(len(i.Lines) > 0, "BR-16", "lines (BG-25)", "an invoice needs at least one line")
}

// requiredParties: BR-06 to BR-11, BR-17 to BR-20, BR-56, BR-62, BR-63.
func (c *checker) requiredParties() {
	i := c.inv
	c.want(i.Seller.Name != "", "BR-06", "seller.name (BT-27)", "is missing")
	c.want(i.Buyer.Name != "", "BR-07", "buyer.name (BT-44)", "is missing")
	c.address(i.Seller.Address, "BR-08", "BR-09", "seller.address", "BG-5", "BT-40")
	c.address(i.Buyer.Address, "BR-10", "BR-11", "buyer.address", "BG-8", "BT-55")
	if p := i.Payee; p != nil {
		other := p.Name != i.Seller.Name && (p.Identifier == nil || !hasIdentifier(&i.Seller, *p.Identifier))
		c.want(p.Name != "" && other, "BR-17", "payee.name (BT-59)", "must be given, and be another than the seller; leave the payee out otherwise")
	}
	if r := i.Representative; r != nil {
		c.want(r.Name != "", "BR-18", "tax_representative.name (BT-62)", "is missing")
		c.address(r.Address, "BR-19", "BR-20", "tax_representative.address", "BG-12", "BT-69")
		c.want(r.VATID != "", "BR-56", "tax_representative.vat_id (BT-63)", "is missing")
	}
	if i.Seller.Endpoint != nil {
		c.want(i.Seller.Endpoint.Scheme != "", "BR-62", "seller.endpoint.scheme (BT-34)", "is missing; as in 0088 for a GLN")
	}
	if i.Buyer.Endpoint != nil {
		c.want(i.Buyer.Endpoint.Scheme != "", "BR-63", "buyer.endpoint.scheme (BT-49)", "is missing; as in 0088 for a GLN")
	}
}

func hasIdentifier(p *Party, id Identifier) bool {
	for _, own := range p.Identifiers {
		if own == id {
			return true
		}
	}
	return false
}

func (c *checker) address(a *Address, rule, countryRule, field, group, country string) {
	c.want(a != nil, rule, fmt.Sprintf("%s (%s)", field, group), "is missing")
	if a != nil {
		c.want(a.Country != "", countryRule, fmt.Sprintf("%s.country (%s)", field, country), "is missing; two letters of ISO 3166-1")
	}
}

// requiredLines: BR-21 to BR-28, BR-54, BR-64, BR-65, BR-CO-04.
func (c *checker) requiredLines() {
	for n := range c.inv.Lines {
		l := &c.inv.Lines[n]
		at := func(field string) string { return fmt.Sprintf("lines[%d].%s", n, field) }
		c.want(l.ID != "", "BR-21", at("id (BT-126)"), "is missing")
		c.want(l.Quantity != nil, "BR-22", at("quantity (BT-129)"), "is missing")
		c.want(l.Unit != "", "BR-23", at("unit (BT-130)"), "is missing; C62 is one piece, HUR an hour")
		c.want(l.Net != nil, "BR-24", at("net (BT-131)"), "is missing")
		c.want(l.Item.Name != "", "BR-25", at("item.name (BT-153)"), "is missing")
		c.want(l.Price.Net != nil, "BR-26", at("price.net (BT-146)"), "is missing")
		c.want(val(l.Price.Net).Sign() >= 0, "BR-27", at("price.net (BT-146)"), "may not be negative; what is taken back has a negative quantity")
		c.want(val(l.Price.Gross).Sign() >= 0, "BR-28", at("price.gross (BT-148)"), "may not be negative")
		c.want(l.Tax.Code != "", "BR-CO-04", at("tax.code (BT-151)"), "is missing; every line has a tax category")
		for m, a := range l.Item.Attributes {
			c.want(a.Name != "" && a.Value != "", "BR-54", at(fmt.Sprintf("item.attributes[%d] (BG-32)", m)), "needs a name and a value")
		}
		if s := l.Item.StandardID; s != nil {
			c.want(s.Scheme != "", "BR-64", at("item.standard_id.scheme (BT-157)"), "is missing; 0160 is a GTIN")
		}
		for m, k := range l.Item.Classifications {
			c.want(k.List != "", "BR-65", at(fmt.Sprintf("item.classifications[%d].list (BT-158)", m)), "is missing")
		}
	}
}

// requiredAllowances: BR-31 to BR-44 and BR-CO-21 to BR-CO-24. A reason in
// words, a code, or both.
func (c *checker) requiredAllowances() {
	c.eachAllowance(func(a *AllowanceCharge, line *Line, field string) {
		named := a.Reason != "" || a.ReasonCode != ""
		if line != nil {
			c.want(a.Amount != nil, a.pick("BR-41", "BR-43"), field+".amount "+a.pick("(BT-136)", "(BT-141)"), "is missing")
			c.want(named, a.pick("BR-42", "BR-44"), field+".reason "+a.pick("(BT-139)", "(BT-144)"), "the %s needs a reason or a reason code", a.name())
			c.want(named, a.pick("BR-CO-23", "BR-CO-24"), field+".reason "+a.pick("(BT-139)", "(BT-144)"), "the %s needs a reason or a reason code", a.name())
			return
		}
		c.want(a.Amount != nil, a.pick("BR-31", "BR-36"), field+".amount "+a.pick("(BT-92)", "(BT-99)"), "is missing")
		c.want(a.Tax != nil && a.Tax.Code != "", a.pick("BR-32", "BR-37"), field+".tax.code "+a.pick("(BT-95)", "(BT-102)"), "is missing; it says whose tax the %s changes", a.name())
		c.want(named, a.pick("BR-33", "BR-38"), field+".reason "+a.pick("(BT-97)", "(BT-104)"), "the %s needs a reason or a reason code", a.name())
		c.want(named, a.pick("BR-CO-21", "BR-CO-22"), field+".reason "+a.pick("(BT-97)", "(BT-104)"), "the %s needs a reason or a reason code", a.name())
	})
}

// requiredRest: BR-45 to BR-53, BR-55, BR-57, BR-61 and the periods.
func (c *checker) requiredRest() {
	c.eachBreakdown(func(b *Breakdown, field string) {
		c.want(b.Taxable != nil, "BR-45", field+".taxable (BT-116)", "is missing")
		c.want(b.Tax != nil, "BR-46", field+".tax (BT-117)", "is missing")
		c.want(b.Category.Code != "", "BR-47", field+".category.code (BT-118)", "is missing")
		c.want(b.Category.Rate != nil || b.Category.Code == "O", "BR-48", field+".category.rate (BT-119)", "is missing; only category O has none")
	})
	for n, p := range c.inv.Payments {
		field := fmt.Sprintf("payment_means[%d]", n)
		c.want(p.Code != "", "BR-49", field+".code (BT-81)", "is missing; 58 is a SEPA transfer, 48 a card, 10 cash")
		if p.AccountName != "" || p.Provider != "" {
			c.want(p.Account != "", "BR-50", field+".account (BT-84)", "is missing")
		}
		if p.Card != "" {
			c.wish(len(p.Card) >= 4 && len(p.Card) <= 6, "BR-51", field+".card (BT-87)", "only the last 4 to 6 digits of a card may be shown")
		}
		if p.Code == "30" || p.Code == "58" {
			c.want(p.Account != "", "BR-61", field+".account (BT-84)", "is missing; a credit transfer needs an account")
		}
	}
	for n, d := range c.inv.Documents {
		c.want(d.ID != "", "BR-52", fmt.Sprintf("documents[%d].id (BT-122)", n), "is missing")
	}
	if t := c.inv.TaxCurrency; t != "" {
		c.want(c.taxIn(t) != nil, "BR-53", "tax_totals (BT-111)", "the tax in the accounting currency %s is missing", t)
	}
	for n, p := range c.inv.Preceding {
		c.want(p.Number != "", "BR-55", fmt.Sprintf("preceding_invoices[%d].number (BT-25)", n), "is missing")
	}
	if d := c.inv.Delivery; d != nil && d.Address != nil {
		c.want(d.Address.Country != "", "BR-57", "delivery.address.country (BT-80)", "is missing")
	}
	c.periods()
}

// periods: BR-29, BR-30, BR-CO-19, BR-CO-20.
func (c *checker) periods() {
	if p := c.inv.Period; p != nil {
		c.want(p.Start == "" || p.End == "" || p.End >= p.Start, "BR-29", "period (BG-14)", "ends before it starts")
		c.want(p.Start != "" || p.End != "" || c.inv.TaxPointCode != "", "BR-CO-19", "period (BG-14)", "needs a start, an end or both")
	}
	for n := range c.inv.Lines {
		if p := c.inv.Lines[n].Period; p != nil {
			field := fmt.Sprintf("lines[%d].period (BG-26)", n)
			c.want(p.Start == "" || p.End == "" || p.End >= p.Start, "BR-30", field, "ends before it starts")
			c.want(p.Start != "" || p.End != "", "BR-CO-20", field, "needs a start, an end or both")
		}
	}
}
