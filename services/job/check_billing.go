package job

import (
	"fmt"

	"github.com/shopspring/decimal"

	"ramprow/internal/engine/billing/en16931"
	"ramprow/internal/platform/fault"
	commonv1 "ramprow/proto/ramprow/common/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// checkBilling names everything that is wrong with a billing by field and rule.
func checkBilling(b *jobv1.Billing, currency string) error {
	c := &billingCheck{currency: currency, refusal: fault.New(fault.Invalid, "BILLING_INVALID", "the job cannot be billed like this")}
	if b.GetLabour() == jobv1.LabourMode_LABOUR_MODE_FIXED_PRICE {
		c.price("billing.fixed_price", b.GetFixedPrice())
	} else if b.GetFixedPrice() != nil {
		c.refusal.WithField("billing.fixed_price", "goes with labour at a fixed price only")
	}
	for n, i := range b.GetItems() {
		c.item(fmt.Sprintf("billing.items[%d]", n), i)
	}
	kinds := map[jobv1.LineKind]bool{}
	for n, t := range b.GetTaxes() {
		field := fmt.Sprintf("billing.taxes[%d]", n)
		if kinds[t.GetKind()] {
			c.refusal.WithField(field+".kind", "has a tax already")
		}
		kinds[t.GetKind()] = true
		c.tax(field+".tax", t.GetTax())
	}
	c.payers(b.GetPayers())
	if len(c.refusal.Fields) > 0 {
		return c.refusal
	}
	return nil
}

type billingCheck struct {
	currency string
	refusal  *fault.Error
}

func (c *billingCheck) price(field string, m *commonv1.Money) {
	switch {
	case m == nil:
		c.refusal.WithField(field, "is missing")
	case m.GetCurrencyCode() != c.currency:
		c.refusal.WithField(field+".currency_code", "must be %s, the job's currency (PEPPOL-EN16931-R051)", c.currency)
	case m.GetMinorUnits() < 0:
		c.refusal.WithField(field+".minor_units", "may not be negative; take money off with a discount or a returned deposit (BR-27)")
	case m.GetMinorUnits() >= maxMinor:
		c.refusal.WithField(field+".minor_units", "must be below 10^12 units (AMOUNT_RANGE)")
	}
}

func (c *billingCheck) item(field string, i *jobv1.BillingItem) {
	if i.GetTax() != nil {
		c.tax(field+".tax", i.GetTax())
	}
	if adjusts(i) {
		switch {
		case i.GetBasisPoints() == 0:
			c.price(field+".price", i.GetPrice())
		case i.GetPrice() != nil:
			c.refusal.WithField(field+".price", "give a percentage or an amount, not both")
		case i.GetTax() != nil:
			c.refusal.WithField(field+".tax", "a percentage has the tax of the lines that it is taken of")
		}
		return
	}
	if i.GetBasisPoints() != 0 {
		c.refusal.WithField(field+".basis_points", "is for discounts and surcharges")
	}
	if i.GetQuantity() == 0 {
		c.refusal.WithField(field+".quantity", "must be at least 1 (BR-22)")
	}
	if i.GetUnit() != "" && !en16931.KnownUnit(i.GetUnit()) {
		c.refusal.WithField(field+".unit", "%q is no unit that is sold by here; H87 is a piece, LTR a litre, HUR an hour (BR-CL-23)", i.GetUnit())
	}
	c.price(field+".price", i.GetPrice())
	total := productOf(i.GetQuantity(), i.GetPrice().GetMinorUnits(), max(1, i.GetPerQuantity()))
	if i.GetPrice().GetMinorUnits() < maxMinor && total.Cmp(decimal.New(maxMinor, -2)) >= 0 {
		c.refusal.WithField(field+".quantity", "times the price must be below 10^12 units (AMOUNT_RANGE)")
	}
}

// tax checks category, rate and reason by the category's own rules.
func (c *billingCheck) tax(field string, t *jobv1.TaxTreatment) {
	if !en16931.KnownCategory(t.GetCategory()) {
		c.refusal.WithField(field+".category", "%q is no tax category; S is standard, Z zero, E exempt, AE reverse charge, K intra-community, G export, O outside VAT (BR-CL-18)", t.GetCategory())
		return
	}
	if f := en16931.CheckCategory(category(t)); f != nil || t.GetCategory() == taxOutside && t.GetRateBasisPoints() != 0 {
		rule := en16931.CategoryRules(t.GetCategory()) + "-05"
		c.refusal.WithField(field+".rate_basis_points", "is not for category %s (%s)", t.GetCategory(), rule)
	}
	given := t.GetExemptionReason() != "" || t.GetExemptionCode() != ""
	if en16931.NeedsReason(t.GetCategory()) != given {
		c.refusal.WithField(field+".exemption_reason", "a reason goes with E, AE, K, G and O, and only with them (%s-10)", en16931.CategoryRules(t.GetCategory()))
	}
	if !en16931.KnownReason(t.GetExemptionCode(), t.GetCategory()) {
		c.refusal.WithField(field+".exemption_code", "%q is no code of the VATEX list for category %s (BR-CL-22)", t.GetExemptionCode(), t.GetCategory())
	}
}

// payers: everyone once, the customer takes the rest, nobody more than all.
func (c *billingCheck) payers(list []*jobv1.Payer) {
	seen := map[string]bool{}
	for n, p := range list {
		field := fmt.Sprintf("billing.payers[%d]", n)
		if seen[p.GetId()] {
			c.refusal.WithField(field+".id", "%s is named twice", p.GetId())
		}
		seen[p.GetId()] = true
		e := party(p.GetParty())
		checkParty(c.refusal, field+".party", p.GetParty(), &e)
		if customer := p.GetId() == payerCustomer; customer != (len(p.GetShares()) == 0) {
			c.refusal.WithField(field+".shares", "the customer bears what is left and has none; everybody else has one")
		}
	}
	for _, number := range jobv1.LineKind_value {
		kind, sum := jobv1.LineKind(number), int64(0)
		for _, p := range list {
			sum += share(p, kind)
		}
		if sum > wholeShare {
			c.refusal.WithField("billing.payers", "bear more than the whole of %s", word(kind.String(), "LINE_KIND_"))
			return
		}
	}
}
