package job

import (
	"slices"
	"time"

	"github.com/shopspring/decimal"

	"ramprow/internal/catalogue"
	"ramprow/internal/engine/billing/en16931"
	commonv1 "ramprow/proto/ramprow/common/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// Units of UN/ECE Recommendation 20.
const (
	unitMinute = "MIN"
	unitOne    = "C62"
)

// sold is one position before it is split among payers.
type sold struct {
	kind      jobv1.LineKind
	title     string
	reference string
	quantity  int64
	unit      string // as people write it
	code      string // UN/ECE Recommendation 20
	price     int64  // minor units without tax, of per units
	per       int64
	net       int64 // of the whole, minor units
	tax       *jobv1.TaxTreatment
	usedOnce  bool
}

// sales lists what is sold, before discounts and surcharges.
func (j *Job) sales(c *catalogue.Catalogue) []sold {
	tax := j.taxes(c)
	lines := append(j.soldLabour(c, tax), j.soldParts(tax)...)
	for _, i := range j.Billing.GetItems() {
		if adjusts(i) {
			continue
		}
		line := sold{
			kind: i.GetKind(), title: i.GetTitle(), quantity: i.GetQuantity(), unit: i.GetUnit(), code: orElse(i.GetUnit(), unitOne),
			price: i.GetPrice().GetMinorUnits(), per: max(1, i.GetPerQuantity()), tax: tax(i.GetKind(), i.GetTax()),
		}
		if i.GetKind() == jobv1.LineKind_LINE_KIND_DEPOSIT_RETURNED {
			line.quantity = -line.quantity // EN 16931 wants a negative quantity, never a negative price (BR-27)
		}
		line.net = minor(productOf(line.quantity, line.price, line.per))
		lines = append(lines, line)
	}
	return lines
}

// adjusts reports whether an item changes the sum instead of adding a line.
func adjusts(i *jobv1.BillingItem) bool {
	return i.GetKind() == jobv1.LineKind_LINE_KIND_DISCOUNT || i.GetKind() == jobv1.LineKind_LINE_KIND_SURCHARGE
}

// soldLabour sells labour by the agreed effort, the time taken, or at a fixed price.
func (j *Job) soldLabour(c *catalogue.Catalogue, tax taxOf) []sold {
	kind := jobv1.LineKind_LINE_KIND_LABOUR
	switch j.Billing.GetLabour() {
	case jobv1.LabourMode_LABOUR_MODE_FIXED_PRICE:
		price := j.Billing.GetFixedPrice().GetMinorUnits()
		return []sold{{kind: kind, title: "Labour at a fixed price", quantity: 1, code: unitOne, price: price, per: 1, net: price, tax: tax(kind, nil)}}
	case jobv1.LabourMode_LABOUR_MODE_TIME_TAKEN:
		return soldTime(c, j.timeTaken(), tax)
	case jobv1.LabourMode_LABOUR_MODE_UNSPECIFIED, jobv1.LabourMode_LABOUR_MODE_AGREED:
	}
	effort := map[jobv1.Phase]time.Duration{}
	for _, s := range j.Plan.GetSteps() {
		effort[s.GetPhase()] += meanOf(s.GetEffort())
	}
	return soldTime(c, effort, tax)
}

// timeTaken is the hands-on time by phase. What the plan dropped after a start has no phase any more.
func (j *Job) timeTaken() map[jobv1.Phase]time.Duration {
	taken := map[jobv1.Phase]time.Duration{}
	for step, p := range j.Progress {
		taken[j.step(step).GetPhase()] += p.Worked
	}
	return taken
}

// soldTime sells time to the minute, phase by phase.
func soldTime(c *catalogue.Catalogue, effort map[jobv1.Phase]time.Duration, tax taxOf) []sold {
	order := []jobv1.Phase{
		jobv1.Phase_PHASE_OPEN, jobv1.Phase_PHASE_INSPECT, jobv1.Phase_PHASE_REPAIR, jobv1.Phase_PHASE_CLOSE,
		jobv1.Phase_PHASE_PROVE, jobv1.Phase_PHASE_UNSPECIFIED,
	}
	var lines []sold
	var before time.Duration
	for _, phase := range order {
		// Minutes up to the end of a phase less those up to its start: rounding never
		// makes the lines differ from the whole that was authorised.
		minutes := wholeMinutes(before+effort[phase]) - wholeMinutes(before)
		before += effort[phase]
		if minutes == 0 {
			continue
		}
		title := "Labour: " + phaseWord(phase)
		if phase == jobv1.Phase_PHASE_UNSPECIFIED {
			title = "Labour: begun, then no longer needed"
		}
		kind := jobv1.LineKind_LINE_KIND_LABOUR
		lines = append(lines, sold{
			kind: kind, title: title, quantity: minutes, unit: "min", code: unitMinute,
			price: c.Message().GetLabourRateMinorUnits(), per: 60, tax: tax(kind, nil),
			net: int64(labourPrice(c, wholeMinutes(before)) - labourPrice(c, wholeMinutes(before)-minutes)),
		})
	}
	return lines
}

// soldParts are the planned parts that were issued for the car and not brought back.
func (j *Job) soldParts(tax taxOf) []sold {
	var lines []sold
	for _, l := range j.Plan.GetParts() {
		if !slices.Contains(j.Parts.GetIssuedLines(), l.GetLine()) {
			continue
		}
		kind := jobv1.LineKind_LINE_KIND_PART
		lines = append(lines, sold{
			kind: kind, title: l.GetTitle(), reference: l.GetPart(), quantity: l.GetQuantity(), unit: unitWord(l.GetUnit()), code: unitCode(l.GetUnit()),
			price: l.GetPrice().GetMinorUnits(), per: max(1, l.GetQuantity()), net: l.GetPrice().GetMinorUnits(), tax: tax(kind, nil), usedOnce: l.GetUsedOnce(),
		})
	}
	return lines
}

// unitCode is the unit in UN/ECE Recommendation 20.
func unitCode(u commonv1.Unit) string {
	switch u {
	case commonv1.Unit_UNIT_PIECE:
		return "H87"
	case commonv1.Unit_UNIT_MILLILITRE:
		return "MLT"
	case commonv1.Unit_UNIT_GRAM:
		return "GRM"
	case commonv1.Unit_UNIT_MILLIMETRE:
		return "MMT"
	case commonv1.Unit_UNIT_UNSPECIFIED:
	}
	return unitOne
}

// taxOf gives the tax of a kind of line; own goes before it.
type taxOf func(kind jobv1.LineKind, own *jobv1.TaxTreatment) *jobv1.TaxTreatment

// taxes is the job's tax by kind of line: its own, that of every kind, or the catalogue's rate.
func (j *Job) taxes(c *catalogue.Catalogue) taxOf {
	usual := &jobv1.TaxTreatment{Category: taxStandard, RateBasisPoints: c.Message().GetTaxRateBasisPoints()}
	if usual.GetRateBasisPoints() == 0 {
		usual.Category = taxZero
	}
	return func(kind jobv1.LineKind, own *jobv1.TaxTreatment) *jobv1.TaxTreatment {
		if own != nil {
			return own
		}
		found := usual
		for _, t := range j.Billing.GetTaxes() {
			switch t.GetKind() {
			case kind:
				return t.GetTax()
			case jobv1.LineKind_LINE_KIND_UNSPECIFIED:
				found = t.GetTax()
			default:
			}
		}
		return found
	}
}

// category is a tax treatment as the standard writes it.
func category(t *jobv1.TaxTreatment) en16931.Category {
	if t.GetCategory() == taxOutside {
		return en16931.Category{Code: t.GetCategory()}
	}
	return en16931.Category{Code: t.GetCategory(), Rate: en16931.Number(basisPoints(t.GetRateBasisPoints()))}
}

// basisPoints is hundredths of a percent as percent.
func basisPoints(b uint32) decimal.Decimal { return decimal.New(int64(b), -2) }

// productOf is quantity times price over per, rounded to cents.
func productOf(quantity, price, per int64) decimal.Decimal {
	line := en16931.Line{
		Quantity: en16931.Number(decimal.New(quantity, 0)),
		Price:    en16931.Price{Net: en16931.Cents(price, ""), Per: en16931.Number(decimal.New(per, 0))},
	}
	return line.Amount()
}

// minor gives the minor units of an amount of whole cents.
func minor(d decimal.Decimal) int64 { return d.Shift(2).IntPart() }
