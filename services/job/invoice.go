package job

import (
	"time"

	"github.com/shopspring/decimal"

	"ramprow/internal/catalogue"
	"ramprow/internal/engine/billing"
	"ramprow/internal/engine/billing/en16931"
	commonv1 "ramprow/proto/ramprow/common/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// invoice is a bill as the API gives it. It has no number yet.
func (j *Job) invoice(b *bill) *jobv1.Invoice {
	i := rendered(b.doc)
	i.Job, i.Customer, i.Vehicle, i.Payer = j.Name, j.addressee(b.payer), j.Vehicle, b.payer.GetId()
	for n, l := range i.GetLines() {
		if n < len(b.kinds) {
			l.Kind, l.Unit = b.kinds[n], b.units[n]
		}
	}
	return i
}

// rendered gives the lines and sums of a document. Discounts and surcharges of
// the whole are lines behind the others, so that the lines add up to the net sum.
func rendered(d *en16931.Invoice) *jobv1.Invoice {
	i := &jobv1.Invoice{
		Net: coins(d.Totals.Net), Gross: coins(d.Totals.Gross), Payable: coins(d.Totals.Payable), Prepaid: coins(d.Totals.Prepaid), Rounding: coins(d.Totals.Rounding),
	}
	for _, l := range d.Lines {
		i.Lines = append(i.Lines, &jobv1.InvoiceLine{
			Title: l.Item.Name, Reference: l.Item.SellersID, Quantity: l.Quantity.IntPart(), Net: coins(l.Net),
			TaxCategory: l.Tax.Code, TaxRateBasisPoints: points(l.Tax.Rate),
		})
	}
	for _, a := range d.AllowancesAndCharges {
		line := &jobv1.InvoiceLine{Kind: jobv1.LineKind_LINE_KIND_SURCHARGE, Title: a.Reason, Quantity: 1, Net: coins(a.Amount), TaxCategory: a.Tax.Code, TaxRateBasisPoints: points(a.Tax.Rate)}
		if !a.Charge {
			line.Kind, line.Net.MinorUnits = jobv1.LineKind_LINE_KIND_DISCOUNT, -line.GetNet().GetMinorUnits()
		}
		i.Lines = append(i.Lines, line)
	}
	for _, t := range d.TaxTotals {
		i.Tax = coins(t.Amount)
		for _, g := range t.Breakdown {
			i.Taxes = append(i.Taxes, &jobv1.TaxSubtotal{Category: g.Category.Code, RateBasisPoints: points(g.Category.Rate), Taxable: coins(g.Taxable), Tax: coins(g.Tax)})
		}
	}
	return i
}

// coins is an amount in minor units; nil stays nil.
func coins(m *en16931.Money) *commonv1.Money {
	if m == nil {
		return nil
	}
	return &commonv1.Money{MinorUnits: minor(m.Value), CurrencyCode: m.Currency}
}

// points is a rate in hundredths of a percent; none is 0.
func points(rate *decimal.Decimal) uint32 {
	if rate == nil {
		return 0
	}
	return uint32(rate.Shift(2).IntPart()) //nolint:gosec // at most 100 %, and not negative: the request's rules say so
}

func wholeMinutes(d time.Duration) int64 { return int64(d.Round(time.Minute) / time.Minute) }

// labourPrice is what minutes of labour cost without tax.
func labourPrice(c *catalogue.Catalogue, minutes int64) billing.Amount {
	price, err := billing.Price{Amount: billing.Amount(c.Message().GetLabourRateMinorUnits()), Per: 60}.Of(minutes)
	if err != nil {
		return billing.MaxAmount // no authorisation reaches it
	}
	return price
}
