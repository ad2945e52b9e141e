// Package en16931 holds an invoice as the European standard EN 16931-1:2017
// models it, completes its totals, and checks it against the standard's
// business rules (BR-…, BR-CO-…, BR-DEC-…, BR-CL-…, one family per tax
// category) and those that Peppol BIS Billing 3.0 adds (PEPPOL-EN16931-…).
//
// A field's comment names its business term (BT) or group (BG). A rule that is
// broken is a Finding with the rule's number, the field and what to do. The
// rules are written from the standard's semantic model; the schematron files
// that CEN and OpenPeppol publish are what the cases in testdata come from.
//
// Not checked, from memory of the published files: BR-CL-07 and BR-CL-13, the code
// lists of invoiced objects and of item classifications, which a job's invoice does
// not have; the rules for sellers of one country (DE-R, DK-R, GR-R, IS-R, IT-R,
// NL-R, NO-R, SE-R); and that each single element is not used (UBL-CR), which is one
// warning here.
//
// Vocabulary: an allowance lowers an amount and a charge raises it, of a line
// or of the document; a breakdown is the tax of one category and rate; prepaid
// is what was paid before; the rounding amount makes the sum payable in cash.
//
//	lines ─┐                    ┌─ breakdown per category and rate ─ tax
//	       ├─ Complete ─ totals ┤
//	allowances, charges ─┘      └─ gross − prepaid + rounding = payable
//	                                        │
//	Check ─ required · totals · categories · decimals · codes · Peppol ─ findings
//
// All amounts are decimals (shopspring/decimal), never floating point. A tie is
// rounded half away from zero; a line by itself; tax once per category and rate.
package en16931
