package job

import (
	"slices"
	"time"

	"ramprow/internal/catalogue"
	"ramprow/internal/engine/billing"
	"ramprow/internal/platform/fault"
	commonv1 "ramprow/proto/ramprow/common/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// taxStandard is UNCL 5305 category S, which a workshop's labour and parts fall under.
const taxStandard = "S"

// invoice is what the customer owes: labour by the agreed effort of each phase,
// and the parts that were issued for the car. It has no number yet.
func (j *Job) invoice(c *catalogue.Catalogue) (*jobv1.Invoice, error) {
	rate := c.Message().GetTaxRateBasisPoints()
	invoice := &jobv1.Invoice{Job: j.Name, Customer: j.Customer, Vehicle: j.Vehicle}
	invoice.Lines = append(j.labourLines(c, rate), j.partLines(rate)...)
	lines := make([]billing.Line, len(invoice.GetLines()))
	for i, l := range invoice.GetLines() {
		lines[i] = billing.Line{
			Net: billing.Amount(l.GetNet().GetMinorUnits()), Category: l.GetTaxCategory(), Rate: billing.BasisPoints(l.GetTaxRateBasisPoints()),
		}
	}
	totals, err := billing.Total(lines)
	if err != nil {
		return nil, fault.New(fault.Precondition, "INVOICE_NOT_COMPUTABLE", "the invoice cannot be computed: %v", err)
	}
	money := func(a billing.Amount) *commonv1.Money {
		return &commonv1.Money{MinorUnits: int64(a), CurrencyCode: j.currency()}
	}
	for _, g := range totals.Groups {
		invoice.Taxes = append(invoice.Taxes, &jobv1.TaxSubtotal{
			Category: g.Category, RateBasisPoints: uint32(g.Rate), Taxable: money(g.Taxable), Tax: money(g.Tax), //nolint:gosec // came from a uint32
		})
	}
	invoice.Net, invoice.Tax, invoice.Gross = money(totals.Net), money(totals.Tax), money(totals.Gross)
	return invoice, nil
}

// labourLines sells each phase at the agreed effort, to the minute.
func (j *Job) labourLines(c *catalogue.Catalogue, rate uint32) []*jobv1.InvoiceLine {
	effort := map[jobv1.Phase]time.Duration{}
	for _, s := range j.Plan.GetSteps() {
		effort[s.GetPhase()] += meanOf(s.GetEffort())
	}
	order := []jobv1.Phase{jobv1.Phase_PHASE_OPEN, jobv1.Phase_PHASE_INSPECT, jobv1.Phase_PHASE_REPAIR, jobv1.Phase_PHASE_CLOSE}
	var lines []*jobv1.InvoiceLine
	var before time.Duration
	for _, phase := range order {
		// Minutes up to the end of a phase less those up to its start: rounding never
		// makes the lines differ from the whole that was authorised.
		sold := wholeMinutes(before+effort[phase]) - wholeMinutes(before)
		before += effort[phase]
		if sold == 0 {
			continue
		}
		price := labourPrice(c, wholeMinutes(before)) - labourPrice(c, wholeMinutes(before)-sold)
		lines = append(lines, &jobv1.InvoiceLine{
			Kind: jobv1.LineKind_LINE_KIND_LABOUR, Title: "Labour: " + phaseWord(phase), Quantity: sold, Unit: "min",
			Net: &commonv1.Money{MinorUnits: int64(price), CurrencyCode: j.currency()}, TaxRateBasisPoints: rate, TaxCategory: taxStandard,
		})
	}
	return lines
}

func (j *Job) partLines(rate uint32) []*jobv1.InvoiceLine {
	var lines []*jobv1.InvoiceLine
	for _, l := range j.Plan.GetParts() {
		if !slices.Contains(j.Parts.GetIssuedLines(), l.GetLine()) {
			continue
		}
		lines = append(lines, &jobv1.InvoiceLine{
			Kind: jobv1.LineKind_LINE_KIND_PART, Title: l.GetTitle(), Reference: l.GetPart(), Quantity: l.GetQuantity(), Unit: unitWord(l.GetUnit()),
			Net: l.GetPrice(), TaxRateBasisPoints: rate, TaxCategory: taxStandard,
		})
	}
	return lines
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
