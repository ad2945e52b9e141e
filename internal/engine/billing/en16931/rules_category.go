package en16931

import (
	"fmt"

	"github.com/shopspring/decimal"
)

// How a category treats rate, reason and identifiers.
type (
	rateRule   int
	reasonRule int
	whoRule    int
)

const (
	rateZero     rateRule = iota // must be 0
	ratePositive                 // must be above 0
	rateAny                      // 0 or above
	rateAbsent                   // must not be given

	reasonForbidden reasonRule = iota
	reasonRequired

	whoSeller    whoRule = iota // seller's VAT or tax registration, or the representative's
	whoSellerVAT                // seller's VAT identifier or the representative's
	whoBoth                     // as whoSeller, and the buyer's VAT identifier or registration
	whoBothVAT                  // as whoSellerVAT, and the buyer's VAT identifier
	whoNobody                   // none of the VAT identifiers
)

// kind is a tax category of UNCL 5305 with the family of rules that it falls under.
type kind struct {
	rules  string // as in BR-S
	title  string
	rate   rateRule
	reason reasonRule
	who    whoRule
}

// families are the categories that EN 16931 allows.
var families = map[string]kind{
	"S":  {"BR-S", "standard rated", ratePositive, reasonForbidden, whoSeller},
	"Z":  {"BR-Z", "zero rated", rateZero, reasonForbidden, whoSeller},
	"E":  {"BR-E", "exempt from VAT", rateZero, reasonRequired, whoSeller},
	"AE": {"BR-AE", "reverse charge", rateZero, reasonRequired, whoBoth},
	"K":  {"BR-IC", "intra-community supply", rateZero, reasonRequired, whoBothVAT},
	"G":  {"BR-G", "export outside the EU", rateZero, reasonRequired, whoSellerVAT},
	"O":  {"BR-O", "not subject to VAT", rateAbsent, reasonRequired, whoNobody},
	"L":  {"BR-IG", "Canary Islands tax", rateAny, reasonForbidden, whoSeller},
	"M":  {"BR-IP", "tax of Ceuta and Melilla", rateAny, reasonForbidden, whoSeller},
	"B":  {"BR-B", "split payment", rateAny, reasonForbidden, whoSeller},
}

// family gives a category's rules; an unknown one is treated as standard, and
// BR-CL-17 or BR-CL-18 names it.
func family(code string) kind {
	if k, ok := families[code]; ok {
		return k
	}
	return kind{title: "unknown", rate: rateAny, reason: reasonForbidden, who: whoSeller}
}

// categoryOrder keeps findings in one order.
var categoryOrder = []string{"S", "Z", "E", "AE", "K", "G", "O", "L", "M"}

// perRate reports whether the category has a breakdown for each of its rates.
func (k kind) perRate() bool { return k.rate == ratePositive || k.rate == rateAny }

// categories: the families BR-S, BR-Z, BR-E, BR-AE, BR-IC, BR-G, BR-O, BR-IG, BR-IP.
func (c *checker) categories() {
	for _, code := range categoryOrder {
		k := families[code]
		use := c.use(code)
		c.breakdownExists(code, k, use)
		c.identified(code, k, use)
		c.rates(code, k)
	}
	c.eachBreakdown(func(b *Breakdown, field string) {
		if k, ok := families[b.Category.Code]; ok && b.Category.Code != "B" {
			c.breakdown(b, k, field)
		}
	})
	c.notSubject()
	c.intraCommunity()
	c.splitPayment()
}

// use says where a category occurs.
type use struct {
	lines, allowances, charges bool
	breakdowns                 int
}

func (c *checker) use(code string) use {
	var u use
	for n := range c.inv.Lines {
		u.lines = u.lines || c.inv.Lines[n].Tax.Code == code
	}
	for n := range c.inv.AllowancesAndCharges {
		if a := &c.inv.AllowancesAndCharges[n]; a.Tax != nil && a.Tax.Code == code {
			u.allowances = u.allowances || !a.Charge
			u.charges = u.charges || a.Charge
		}
	}
	c.eachBreakdown(func(b *Breakdown, _ string) {
		if b.Category.Code == code {
			u.breakdowns++
		}
	})
	return u
}

// breakdownExists: rule -01.
func (c *checker) breakdownExists(code string, k kind, u use) {
	used := u.lines || u.allowances || u.charges
	field := "tax_totals (BG-23)"
	switch {
	case used:
		c.want(u.breakdowns > 0, k.rules+"-01", field, "there is no breakdown of category %s (%s)", code, k.title)
		if !k.perRate() {
			c.want(u.breakdowns <= 1, k.rules+"-01", field, "category %s (%s) has %d breakdowns and may have one", code, k.title, u.breakdowns)
		}
	case k.perRate() && len(c.inv.Lines) > 0:
		c.want(u.breakdowns == 0, k.rules+"-01", field, "there is a breakdown of category %s, but no line, allowance or charge", code)
	}
}

// identified: rules -02 (lines), -03 (allowances), -04 (charges).
func (c *checker) identified(code string, k kind, u use) {
	ok, field, text := c.identifiedBy(k.who)
	if u.lines {
		c.want(ok, k.rules+"-02", field, "%s (a line has category %s, %s)", text, code, k.title)
	}
	if u.allowances {
		c.want(ok, k.rules+"-03", field, "%s (an allowance has category %s, %s)", text, code, k.title)
	}
	if u.charges {
		c.want(ok, k.rules+"-04", field, "%s (a charge has category %s, %s)", text, code, k.title)
	}
}

func (c *checker) identifiedBy(who whoRule) (ok bool, field, text string) {
	s, b := &c.inv.Seller, &c.inv.Buyer
	representative := c.inv.Representative != nil && c.inv.Representative.VATID != ""
	seller := s.hasTaxID() || representative
	sellerVAT := s.VATID != "" || representative
	switch who {
	case whoSellerVAT:
		return sellerVAT, "seller.vat_id (BT-31)", "the seller's VAT identifier, or the tax representative's, is missing"
	case whoBoth:
		return seller && (b.VATID != "" || b.Registration != nil), "buyer.vat_id (BT-48)",
			"the seller's tax identifier and the buyer's VAT identifier or registration (BT-47) must be given"
	case whoBothVAT:
		return sellerVAT && b.VATID != "", "buyer.vat_id (BT-48)", "the seller's and the buyer's VAT identifiers must be given"
	case whoNobody:
		return !sellerVAT && b.VATID == "", "seller.vat_id (BT-31)", "neither seller nor buyer may show a VAT identifier"
	case whoSeller:
	}
	return seller, "seller.vat_id (BT-31)", "the seller's VAT identifier, tax registration (BT-32) or tax representative is missing"
}

// rates: rules -05 (lines), -06 (allowances), -07 (charges).
func (c *checker) rates(code string, k kind) {
	for n := range c.inv.Lines {
		if l := &c.inv.Lines[n]; l.Tax.Code == code {
			c.rate(l.Tax, k, k.rules+"-05", fmt.Sprintf("lines[%d].tax.rate (BT-152)", n))
		}
	}
	for n := range c.inv.AllowancesAndCharges {
		if a := &c.inv.AllowancesAndCharges[n]; a.Tax != nil && a.Tax.Code == code {
			c.rate(*a.Tax, k, k.rules+a.pick("-06", "-07"), fmt.Sprintf("allowances_and_charges[%d].tax.rate %s", n, a.pick("(BT-96)", "(BT-103)")))
		}
	}
}

func (c *checker) rate(t Category, k kind, rule, field string) {
	switch k.rate {
	case ratePositive:
		c.want(t.Rate != nil && t.Rate.Sign() > 0, rule, field, "must be above 0 in category %s (%s)", t.Code, k.title)
	case rateZero:
		c.want(t.Rate != nil && t.Rate.Sign() == 0, rule, field, "must be 0 in category %s (%s)", t.Code, k.title)
	case rateAny:
		c.want(t.Rate != nil && t.Rate.Sign() >= 0, rule, field, "must be 0 or above in category %s (%s)", t.Code, k.title)
	case rateAbsent:
		c.want(t.Rate == nil, rule, field, "must be left out in category %s (%s)", t.Code, k.title)
	}
}

// breakdown: rules -08 (taxable amount), -09 (tax), -10 (reason).
func (c *checker) breakdown(b *Breakdown, k kind, field string) {
	if b.Taxable != nil && c.hasContent() {
		want := c.taxable(b, k)
		c.want(b.Taxable.Value.Equal(want), k.rules+"-08", field+".taxable (BT-116)",
			"is %s; lines less allowances plus charges of category %s give %s", b.Taxable.Value, b.Category.Code, want.StringFixed(2))
	}
	if b.Tax != nil {
		want := decimal.Decimal{}
		if k.perRate() && b.Taxable != nil {
			want = percentOf(b.Taxable.Value, num(b.Category.Rate))
		}
		c.want(b.Tax.Value.Equal(want), k.rules+"-09", field+".tax (BT-117)", "is %s and should be %s", b.Tax.Value, want.StringFixed(2))
	}
	reason := b.ExemptionReason != "" || b.ExemptionReasonCode != ""
	if k.reason == reasonRequired {
		c.want(reason, k.rules+"-10", field+".exemption_reason (BT-120)", "is missing; category %s (%s) needs a reason or a code (BT-121)", b.Category.Code, k.title)
	} else {
		c.want(!reason, k.rules+"-10", field+".exemption_reason (BT-120)", "may not be given in category %s (%s)", b.Category.Code, k.title)
	}
}

// hasContent reports whether there is anything that a taxable amount could be made of.
func (c *checker) hasContent() bool { return len(c.inv.Lines)+len(c.inv.AllowancesAndCharges) > 0 }

// taxable sums what falls under the breakdown's category, and rate if it has several.
func (c *checker) taxable(b *Breakdown, k kind) decimal.Decimal {
	var total decimal.Decimal
	for _, g := range c.inv.groups() {
		if g.code == b.Category.Code && (!k.perRate() || g.rate.Equal(num(b.Category.Rate))) {
			total = total.Add(g.taxable)
		}
	}
	return total
}

// notSubject: BR-O-11 to BR-O-14. What is not subject to VAT stands alone.
func (c *checker) notSubject() {
	if c.use("O").breakdowns == 0 {
		return
	}
	c.eachBreakdown(func(b *Breakdown, field string) {
		c.want(b.Category.Code == "O", "BR-O-11", field+".category (BT-118)", "category O excludes every other")
	})
	for n := range c.inv.Lines {
		c.want(c.inv.Lines[n].Tax.Code == "O", "BR-O-12", fmt.Sprintf("lines[%d].tax.code (BT-151)", n), "category O excludes every other")
	}
	for n := range c.inv.AllowancesAndCharges {
		a := &c.inv.AllowancesAndCharges[n]
		c.want(a.Tax != nil && a.Tax.Code == "O", a.pick("BR-O-13", "BR-O-14"), fmt.Sprintf("allowances_and_charges[%d].tax.code", n), "category O excludes every other")
	}
}

// intraCommunity: BR-IC-11 and BR-IC-12.
func (c *checker) intraCommunity() {
	if c.use("K").breakdowns == 0 {
		return
	}
	d := c.inv.Delivery
	c.want(d != nil && d.Date != "" || c.inv.Period != nil, "BR-IC-11", "delivery.date (BT-72)", "an intra-community supply needs a date of delivery or a period (BG-14)")
	c.want(d != nil && d.Address != nil && d.Address.Country != "", "BR-IC-12", "delivery.address.country (BT-80)", "an intra-community supply needs the country that it went to")
}

// splitPayment: BR-B-01 and BR-B-02.
func (c *checker) splitPayment() {
	b := c.use("B")
	if !b.lines && !b.allowances && !b.charges && b.breakdowns == 0 {
		return
	}
	i := c.inv
	domestic := i.Seller.Address != nil && i.Buyer.Address != nil && i.Seller.Address.Country == "IT" && i.Buyer.Address.Country == "IT"
	c.want(domestic, "BR-B-01", "lines.tax.code (BT-151)", "category B is for domestic invoices in Italy only")
	s := c.use("S")
	c.want(!s.lines && !s.allowances && !s.charges && s.breakdowns == 0, "BR-B-02", "lines.tax.code (BT-151)", "category B excludes category S")
}
