package en16931

import (
	"fmt"
	"slices"
	"strings"
)

// Severity says whether a finding makes the document invalid.
type Severity string

// A document with a fatal finding is refused by who receives it; a warning is not a reason to refuse it.
const (
	Fatal   Severity = "fatal"
	Warning Severity = "warning"
)

// Finding is a rule that the document breaks.
type Finding struct {
	Rule     string   `json:"rule"`  // as in BR-CO-15 or PEPPOL-EN16931-R003
	Field    string   `json:"field"` // as in lines[2].net (BT-131)
	Text     string   `json:"text"`  // what is wrong and what is wanted
	Severity Severity `json:"severity"`
}

// String is the finding on one line.
func (f Finding) String() string { return fmt.Sprintf("%s: %s: %s", f.Rule, f.Field, f.Text) }

// Check gives everything that is wrong with the document: the rules of EN 16931,
// then those of Peppol BIS Billing 3.0.
func Check(i *Invoice) []Finding { return append(CheckCore(i), CheckPeppol(i)...) }

// CheckDeclared gives what is wrong by the specification that the document says
// it follows: EN 16931, and Peppol's rules if it names Peppol or a process.
func CheckDeclared(i *Invoice) []Finding {
	if i.Peppol() {
		return Check(i)
	}
	return CheckCore(i)
}

// Peppol reports whether the document says that it is for Peppol.
func (i *Invoice) Peppol() bool {
	return i.Process != "" || strings.Contains(i.Specification, "peppol")
}

// CheckCore gives what is wrong by EN 16931 alone.
func CheckCore(i *Invoice) []Finding {
	c := &checker{inv: i}
	c.required()
	c.requiredParties()
	c.requiredLines()
	c.requiredAllowances()
	c.requiredRest()
	c.totals()
	c.breakdowns()
	c.conditions()
	c.categories()
	c.decimals()
	c.codes()
	c.structure()
	return c.findings
}

// CheckPeppol gives what is wrong by the rules of Peppol BIS Billing 3.0 alone.
func CheckPeppol(i *Invoice) []Finding {
	c := &checker{inv: i}
	c.peppolDocument()
	c.peppolMoney()
	c.peppolAllowances()
	c.peppolLines()
	c.peppolCodes()
	c.peppolIdentifiers()
	return c.findings
}

// Valid reports whether none of the findings is fatal.
func Valid(findings []Finding) bool {
	return !slices.ContainsFunc(findings, func(f Finding) bool { return f.Severity == Fatal })
}

// checker gathers what is found.
type checker struct {
	inv      *Invoice
	findings []Finding
}

// want notes a fatal finding unless the condition holds.
func (c *checker) want(ok bool, rule, field, text string, args ...any) {
	if !ok {
		c.findings = append(c.findings, Finding{Rule: rule, Field: field, Text: fmt.Sprintf(text, args...), Severity: Fatal})
	}
}

// wish notes a warning unless the condition holds.
func (c *checker) wish(ok bool, rule, field, text string, args ...any) {
	if !ok {
		c.findings = append(c.findings, Finding{Rule: rule, Field: field, Text: fmt.Sprintf(text, args...), Severity: Warning})
	}
}

// eachAllowance visits every allowance and charge of the document and of the
// lines with the field's path; line is nil for those of the document.
func (c *checker) eachAllowance(visit func(a *AllowanceCharge, line *Line, field string)) {
	for n := range c.inv.AllowancesAndCharges {
		visit(&c.inv.AllowancesAndCharges[n], nil, fmt.Sprintf("allowances_and_charges[%d]", n))
	}
	for n := range c.inv.Lines {
		line := &c.inv.Lines[n]
		for m := range line.AllowancesAndCharges {
			visit(&line.AllowancesAndCharges[m], line, fmt.Sprintf("lines[%d].allowances_and_charges[%d]", n, m))
		}
	}
}

// eachBreakdown visits the tax breakdowns.
func (c *checker) eachBreakdown(visit func(b *Breakdown, field string)) {
	for n := range c.inv.TaxTotals {
		for m := range c.inv.TaxTotals[n].Breakdown {
			visit(&c.inv.TaxTotals[n].Breakdown[m], fmt.Sprintf("tax_totals[%d].breakdown[%d]", n, m))
		}
	}
}

// name is allowance or charge.
func (a *AllowanceCharge) name() string {
	if a.Charge {
		return "charge"
	}
	return "allowance"
}

// pick gives the first for an allowance and the second for a charge.
func (a *AllowanceCharge) pick(allowance, charge string) string {
	if a.Charge {
		return charge
	}
	return allowance
}
