package en16931

import (
	"fmt"
	"regexp"
	"strings"
	"time"

	"github.com/shopspring/decimal"
)

var processPattern = regexp.MustCompile(`^urn:fdc:peppol\.eu:2017:poacc:billing:[0-9]{2}:1\.0$`)

// slack is what Peppol lets a line or a percentage be off by.
var slack = decimal.New(2, -2)

// peppolDocument: R001 to R020, R061, R080, P0100, P0101, P0112, F001.
func (c *checker) peppolDocument() {
	i := c.inv
	c.want(i.Process != "", "PEPPOL-EN16931-R001", "process (BT-23)", "is missing; it is %s", PeppolProcess)
	c.want(len(i.Notes) <= 1, "PEPPOL-EN16931-R002", "notes (BG-1)", "there may be one note only")
	c.want(i.BuyerReference != "" || i.OrderReference != "", "PEPPOL-EN16931-R003", "buyer_reference (BT-10)", "is missing; give it or the buyer's order (BT-13)")
	c.want(strings.HasPrefix(i.Specification, PeppolSpecification), "PEPPOL-EN16931-R004", "specification (BT-24)", "must be %s", PeppolSpecification)
	c.want(i.Process == "" || processPattern.MatchString(i.Process), "PEPPOL-EN16931-R007", "process (BT-23)", "must be as %s", PeppolProcess)
	c.want(i.Buyer.Endpoint != nil, "PEPPOL-EN16931-R010", "buyer.endpoint (BT-49)", "is missing")
	c.want(i.Seller.Endpoint != nil, "PEPPOL-EN16931-R020", "seller.endpoint (BT-34)", "is missing")
	for n, p := range i.Payments {
		if p.Code == "49" || p.Code == "59" {
			c.want(p.Mandate != "", "PEPPOL-EN16931-R061", fmt.Sprintf("payment_means[%d].mandate (BT-89)", n), "is missing; a direct debit needs the mandate")
		}
	}
	if i.Credit {
		c.code(peppolCreditTypes, i.TypeCode, "PEPPOL-EN16931-P0101", "type_code (BT-3)", "Peppol's credit notes")
	} else {
		c.code(peppolTypes, i.TypeCode, "PEPPOL-EN16931-P0100", "type_code (BT-3)", "Peppol's invoices")
		german := i.Seller.Address != nil && i.Buyer.Address != nil && i.Seller.Address.Country == "DE" && i.Buyer.Address.Country == "DE"
		c.want(german || i.TypeCode != "326" && i.TypeCode != "384", "PEPPOL-EN16931-P0112", "type_code (BT-3)", "326 and 384 are for two German parties only; use a credit note and a new invoice")
	}
	c.dates()
}

// dates: F001.
func (c *checker) dates() {
	i := c.inv
	c.date(i.IssueDate, "issue_date (BT-2)")
	c.date(i.DueDate, "due_date (BT-9)")
	c.date(i.TaxPointDate, "tax_point_date (BT-7)")
	if i.Delivery != nil {
		c.date(i.Delivery.Date, "delivery.date (BT-72)")
	}
	c.period(i.Period, "period (BG-14)")
	for n := range i.Lines {
		c.period(i.Lines[n].Period, fmt.Sprintf("lines[%d].period (BG-26)", n))
	}
	for n, p := range i.Preceding {
		c.date(p.IssueDate, fmt.Sprintf("preceding_invoices[%d].issue_date (BT-26)", n))
	}
}

func (c *checker) period(p *Period, field string) {
	if p != nil {
		c.date(p.Start, field)
		c.date(p.End, field)
	}
}

func (c *checker) date(d Date, field string) {
	if d != "" {
		_, err := time.Parse(time.DateOnly, string(d))
		c.want(err == nil, "PEPPOL-EN16931-F001", field, "%q is no day as in 2026-03-01", d)
	}
}

// peppolMoney: R005, R051, R053 to R055, CL007.
func (c *checker) peppolMoney() {
	i := c.inv
	c.want(i.TaxCurrency == "" || i.TaxCurrency != i.Currency, "PEPPOL-EN16931-R005", "tax_currency (BT-6)", "must differ from the document's currency; leave it out otherwise")
	c.eachMoney(func(m *Money, field string) {
		c.want(m.Currency == i.Currency, "PEPPOL-EN16931-R051", field+".currency", "is %q in a document in %q", m.Currency, i.Currency)
	})
	with, without := 0, 0
	for _, t := range i.TaxTotals {
		if len(t.Breakdown) > 0 {
			with++
		} else {
			without++
		}
	}
	c.want(with == 1, "PEPPOL-EN16931-R053", "tax_totals", "there must be one total of tax with a breakdown, not %d", with)
	accounting := 0
	if i.TaxCurrency != "" {
		accounting = 1
	}
	c.want(without == accounting, "PEPPOL-EN16931-R054", "tax_totals", "there must be %d totals of tax without a breakdown, not %d", accounting, without)
	own, other := c.taxIn(i.Currency), c.taxIn(i.TaxCurrency)
	if i.TaxCurrency != "" && own != nil && other != nil {
		c.want(own.Value.Sign()*other.Value.Sign() >= 0, "PEPPOL-EN16931-R055", "tax_totals", "the tax in both currencies must have one sign")
	}
}

// eachMoney visits every amount but the total of tax in the accounting currency.
func (c *checker) eachMoney(visit func(m *Money, field string)) {
	see := func(m *Money, field string) {
		if m != nil {
			visit(m, field)
		}
	}
	t := &c.inv.Totals
	see(t.Lines, "totals.lines (BT-106)")
	see(t.Allowances, "totals.allowances (BT-107)")
	see(t.Charges, "totals.charges (BT-108)")
	see(t.Net, "totals.net (BT-109)")
	see(t.Gross, "totals.gross (BT-112)")
	see(t.Prepaid, "totals.prepaid (BT-113)")
	see(t.Rounding, "totals.rounding (BT-114)")
	see(t.Payable, "totals.payable (BT-115)")
	for n, total := range c.inv.TaxTotals {
		if len(total.Breakdown) > 0 {
			see(total.Amount, fmt.Sprintf("tax_totals[%d].amount (BT-110)", n))
		}
	}
	c.eachBreakdown(func(b *Breakdown, field string) {
		see(b.Taxable, field+".taxable (BT-116)")
		see(b.Tax, field+".tax (BT-117)")
	})
	c.eachAllowance(func(a *AllowanceCharge, _ *Line, field string) {
		see(a.Amount, field+".amount")
		see(a.Base, field+".base")
	})
	for n := range c.inv.Lines {
		l := &c.inv.Lines[n]
		see(l.Net, fmt.Sprintf("lines[%d].net (BT-131)", n))
		see(l.Price.Net, fmt.Sprintf("lines[%d].price.net (BT-146)", n))
		see(l.Price.Discount, fmt.Sprintf("lines[%d].price.discount (BT-147)", n))
		see(l.Price.Gross, fmt.Sprintf("lines[%d].price.gross (BT-148)", n))
	}
}

// peppolAllowances: R040 to R042.
func (c *checker) peppolAllowances() {
	c.eachAllowance(func(a *AllowanceCharge, _ *Line, field string) {
		c.want(a.Percent == nil || a.Base != nil, "PEPPOL-EN16931-R041", field+".base", "is missing although there is a percentage")
		c.want(a.Percent != nil || a.Base == nil, "PEPPOL-EN16931-R042", field+".percent", "is missing although there is a base")
		if a.Percent != nil && a.Base != nil {
			exact := a.Base.Value.Mul(*a.Percent).Div(hundred)
			off := exact.Sub(val(a.Amount)).Abs()
			c.want(off.Cmp(slack) <= 0, "PEPPOL-EN16931-R040", field+".amount", "is %s; %s %% of %s is %s", val(a.Amount), a.Percent, a.Base.Value, Round(exact).StringFixed(2))
		}
	})
}

// peppolLines: R046, R110, R111, R120, R121, R130.
func (c *checker) peppolLines() {
	for n := range c.inv.Lines {
		l := &c.inv.Lines[n]
		at := func(field string) string { return fmt.Sprintf("lines[%d].%s", n, field) }
		c.lineNet(l, at("net (BT-131)"))
		c.want(l.Price.Per == nil || l.Price.Per.Sign() > 0, "PEPPOL-EN16931-R121", at("price.per (BT-149)"), "must be above 0")
		c.want(l.Price.PerUnit == "" || l.Price.PerUnit == l.Unit, "PEPPOL-EN16931-R130", at("price.per_unit (BT-150)"), "must be the line's unit %s", l.Unit)
		if l.Price.Gross != nil {
			want := l.Price.Gross.Value.Sub(val(l.Price.Discount))
			c.want(val(l.Price.Net).Equal(want), "PEPPOL-EN16931-R046", at("price.net (BT-146)"), "is %s; gross price less discount is %s", val(l.Price.Net), want)
		}
		if p, whole := l.Period, c.inv.Period; p != nil && whole != nil {
			c.want(p.Start == "" || whole.Start == "" || p.Start >= whole.Start, "PEPPOL-EN16931-R110", at("period.start (BT-134)"), "is before the document's period")
			c.want(p.End == "" || whole.End == "" || p.End <= whole.End, "PEPPOL-EN16931-R111", at("period.end (BT-135)"), "is after the document's period")
		}
	}
}

// lineNet: R120, which looks at the product before it is rounded.
func (c *checker) lineNet(l *Line, field string) {
	quantity, per := decimal.New(1, 0), decimal.New(1, 0)
	if l.Quantity != nil {
		quantity = *l.Quantity
	}
	if p := num(l.Price.Per); p.Sign() != 0 {
		per = p
	}
	// Multiplied through by the base quantity there is no quotient to cut off.
	exact := quantity.Mul(val(l.Price.Net)).Add(sum(l.AllowancesAndCharges).Mul(per))
	off := exact.Sub(val(l.Net).Mul(per)).Abs()
	c.want(off.Cmp(slack.Mul(per.Abs())) <= 0, "PEPPOL-EN16931-R120", field, "is %s; quantity times price, less allowances, plus charges is %s", val(l.Net), Round(l.Amount()).StringFixed(2))
}

// reasonCategories: P0104 to P0111, a reason's code belongs to one category.
var reasonCategories = map[string]struct{ rule, category string }{
	"VATEX-EU-G":  {"PEPPOL-EN16931-P0104", "G"},
	"VATEX-EU-O":  {"PEPPOL-EN16931-P0105", "O"},
	"VATEX-EU-IC": {"PEPPOL-EN16931-P0106", "K"},
	"VATEX-EU-AE": {"PEPPOL-EN16931-P0107", "AE"},
	"VATEX-EU-D":  {"PEPPOL-EN16931-P0108", "E"},
	"VATEX-EU-F":  {"PEPPOL-EN16931-P0109", "E"},
	"VATEX-EU-I":  {"PEPPOL-EN16931-P0110", "E"},
	"VATEX-EU-J":  {"PEPPOL-EN16931-P0111", "E"},
}

// peppolCodes: CL001 to CL008 as far as the standard's own lists are wider, P0104 to P0111.
func (c *checker) peppolCodes() {
	c.eachBreakdown(func(b *Breakdown, field string) {
		if r, ok := reasonCategories[strings.ToUpper(b.ExemptionReasonCode)]; ok {
			c.want(b.Category.Code == r.category, r.rule, field+".category.code (BT-118)", "must be %s with the reason %s", r.category, b.ExemptionReasonCode)
		}
	})
	c.endpointScheme(&c.inv.Seller, "seller")
	c.endpointScheme(&c.inv.Buyer, "buyer")
}

func (c *checker) endpointScheme(p *Party, name string) {
	if p.Endpoint != nil && p.Endpoint.Scheme != "" {
		c.want(KnownEndpointScheme(p.Endpoint.Scheme), "PEPPOL-EN16931-CL008", name+".endpoint.scheme", "%q is no scheme of Peppol's electronic addresses", p.Endpoint.Scheme)
	}
}
