package en16931

import (
	"fmt"

	"github.com/shopspring/decimal"
)

// totals: BR-CO-10 to BR-CO-16. A rule whose own term is missing is silent: that
// is for BR-12 to BR-15 to say.
func (c *checker) totals() {
	t := &c.inv.Totals
	var lines, allowances, charges decimal.Decimal
	hasAllowances, hasCharges := false, false
	for n := range c.inv.Lines {
		lines = lines.Add(val(c.inv.Lines[n].Net))
	}
	for n := range c.inv.AllowancesAndCharges {
		if a := &c.inv.AllowancesAndCharges[n]; a.Charge {
			hasCharges, charges = true, charges.Add(val(a.Amount))
		} else {
			hasAllowances, allowances = true, allowances.Add(val(a.Amount))
		}
	}
	if len(c.inv.Lines) > 0 {
		c.equal(t.Lines, lines, "BR-CO-10", "totals.lines (BT-106)", "the lines' net amounts")
	}
	c.equal(t.Allowances, allowances, "BR-CO-11", "totals.allowances (BT-107)", "the document's allowances")
	c.equal(t.Charges, charges, "BR-CO-12", "totals.charges (BT-108)", "the document's charges")
	c.want(t.Allowances != nil || !hasAllowances, "BR-CO-11", "totals.allowances (BT-107)", "is missing although there are allowances")
	c.want(t.Charges != nil || !hasCharges, "BR-CO-12", "totals.charges (BT-108)", "is missing although there are charges")
	if t.Lines != nil {
		c.equal(t.Net, t.Lines.Value.Sub(val(t.Allowances)).Add(val(t.Charges)), "BR-CO-13", "totals.net (BT-109)", "lines less allowances plus charges")
	}
	c.taxTotals()
	if t.Gross != nil {
		want := t.Gross.Value.Sub(val(t.Prepaid)).Add(val(t.Rounding))
		c.equal(t.Payable, want, "BR-CO-16", "totals.payable (BT-115)", "gross less prepaid plus rounding")
	}
}

// taxTotals: BR-CO-14 and BR-CO-15.
func (c *checker) taxTotals() {
	for n, total := range c.inv.TaxTotals {
		if len(total.Breakdown) == 0 {
			continue
		}
		var tax decimal.Decimal
		for _, b := range total.Breakdown {
			tax = tax.Add(val(b.Tax))
		}
		c.equal(total.Amount, tax, "BR-CO-14", fmt.Sprintf("tax_totals[%d].amount (BT-110)", n), "the taxes of the breakdown")
	}
	t := &c.inv.Totals
	if t.Net == nil || t.Gross == nil {
		return
	}
	own := 0
	for _, total := range c.inv.TaxTotals {
		if total.Amount != nil && total.Amount.Currency == c.inv.Currency {
			own++
		}
	}
	if len(c.inv.TaxTotals) > 0 {
		c.want(own == 1, "BR-CO-15", "tax_totals (BT-110)", "there must be one total of tax in %s, the document's currency, not %d", c.inv.Currency, own)
	}
	if own <= 1 {
		c.equal(t.Gross, t.Net.Value.Add(val(c.taxIn(c.inv.Currency))), "BR-CO-15", "totals.gross (BT-112)", "net plus tax")
	}
}

// taxIn gives the total of tax in a currency.
func (c *checker) taxIn(currency string) *Money {
	for _, total := range c.inv.TaxTotals {
		if total.Amount != nil && total.Amount.Currency == currency {
			return total.Amount
		}
	}
	return nil
}

// equal wants an amount, if it is there, to be a computed one to the cent.
func (c *checker) equal(have *Money, want decimal.Decimal, rule, field, of string) {
	if have != nil {
		c.want(have.Value.Equal(Round(want)), rule, field, "is %s; %s give %s", have.Value, of, Round(want).StringFixed(2))
	}
}

// breakdowns: BR-CO-17 and BR-CO-18. The published rule files let the tax be off
// by less than one unit of the currency; here it is exact.
func (c *checker) breakdowns() {
	any := false
	c.eachBreakdown(func(b *Breakdown, field string) {
		any = true
		if b.Taxable == nil || b.Tax == nil {
			return
		}
		want := percentOf(b.Taxable.Value, num(b.Category.Rate))
		c.want(b.Tax.Value.Equal(want), "BR-CO-17", field+".tax (BT-117)",
			"is %s; %s %% of %s is %s", b.Tax.Value, num(b.Category.Rate), b.Taxable.Value, want.StringFixed(2))
	})
	c.want(any, "BR-CO-18", "tax_totals (BG-23)", "there must be at least one tax breakdown")
}

// decimals: BR-DEC-01 to BR-DEC-28. Unit prices (BT-146 to BT-148) may have more.
func (c *checker) decimals() {
	t := &c.inv.Totals
	c.cents(t.Lines, "BR-DEC-09", "totals.lines (BT-106)")
	c.cents(t.Allowances, "BR-DEC-10", "totals.allowances (BT-107)")
	c.cents(t.Charges, "BR-DEC-11", "totals.charges (BT-108)")
	c.cents(t.Net, "BR-DEC-12", "totals.net (BT-109)")
	c.cents(c.taxIn(c.inv.Currency), "BR-DEC-13", "tax_totals.amount (BT-110)")
	c.cents(t.Gross, "BR-DEC-14", "totals.gross (BT-112)")
	if c.inv.TaxCurrency != "" {
		c.cents(c.taxIn(c.inv.TaxCurrency), "BR-DEC-15", "tax_totals.amount (BT-111)")
	}
	c.cents(t.Prepaid, "BR-DEC-16", "totals.prepaid (BT-113)")
	c.cents(t.Rounding, "BR-DEC-17", "totals.rounding (BT-114)")
	c.cents(t.Payable, "BR-DEC-18", "totals.payable (BT-115)")
	c.eachBreakdown(func(b *Breakdown, field string) {
		c.cents(b.Taxable, "BR-DEC-19", field+".taxable (BT-116)")
		c.cents(b.Tax, "BR-DEC-20", field+".tax (BT-117)")
	})
	c.eachAllowance(func(a *AllowanceCharge, line *Line, field string) {
		if line == nil {
			c.cents(a.Amount, a.pick("BR-DEC-01", "BR-DEC-05"), field+".amount "+a.pick("(BT-92)", "(BT-99)"))
			c.cents(a.Base, a.pick("BR-DEC-02", "BR-DEC-06"), field+".base "+a.pick("(BT-93)", "(BT-100)"))
			return
		}
		c.cents(a.Amount, a.pick("BR-DEC-24", "BR-DEC-27"), field+".amount "+a.pick("(BT-136)", "(BT-141)"))
		c.cents(a.Base, a.pick("BR-DEC-25", "BR-DEC-28"), field+".base "+a.pick("(BT-137)", "(BT-142)"))
	})
	for n := range c.inv.Lines {
		c.cents(c.inv.Lines[n].Net, "BR-DEC-23", fmt.Sprintf("lines[%d].net (BT-131)", n))
	}
}

// cents wants at most two decimals as they are written: 1.500 has three.
func (c *checker) cents(m *Money, rule, field string) {
	if m != nil {
		c.want(m.Value.Exponent() >= -2, rule, field, "is %s; an amount has at most two decimals", m.Value)
		c.want(m.Value.Abs().Cmp(limit) < 0, "AMOUNT_RANGE", field, "is %s; an amount must be less than 10^12", m.Value)
	}
}
