package en16931

import (
	"fmt"
	"strings"
	"unicode/utf8"
)

// conditions: BR-CO-03, BR-CO-09, BR-CO-25, BR-CO-26.
func (c *checker) conditions() {
	i := c.inv
	c.want(i.TaxPointDate == "" || i.TaxPointCode == "", "BR-CO-03", "tax_point_date (BT-7)", "and tax_point_code (BT-8) exclude one another")
	c.vatPrefix(i.Seller.VATID, "seller.vat_id (BT-31)")
	c.vatPrefix(i.Buyer.VATID, "buyer.vat_id (BT-48)")
	if i.Representative != nil {
		c.vatPrefix(i.Representative.VATID, "tax_representative.vat_id (BT-63)")
	}
	if val(i.Totals.Payable).Sign() > 0 {
		c.want(i.DueDate != "" || i.PaymentTerms != "", "BR-CO-25", "due_date (BT-9)", "is missing; a positive amount needs a due date or terms of payment (BT-20)")
	}
	s := &i.Seller
	c.want(len(s.Identifiers) > 0 || s.Registration != nil || s.VATID != "", "BR-CO-26", "seller.vat_id (BT-31)",
		"is missing; the seller needs a VAT identifier, a registration (BT-30) or an identifier (BT-29)")
}

func (c *checker) vatPrefix(id, field string) {
	if id != "" {
		c.want(len(id) > 2 && (known(countries, id[:2]) || id[:2] == "EL"), "BR-CO-09", field, "is %q; it starts with the country's two letters, EL for Greece", id)
	}
}

// structure: what UBL's binding of the standard lets occur once, as far as the
// model can hold it twice (UBL-SR-16, -44, -47).
func (c *checker) structure() {
	c.want(len(c.inv.Buyer.Identifiers) <= 1, "UBL-SR-16", "buyer.identifiers (BT-46)", "at most one may be given")
	for n := 1; n < len(c.inv.Payments); n++ {
		field := fmt.Sprintf("payment_means[%d]", n)
		first := c.inv.Payments[0]
		c.want(c.inv.Payments[n].Remittance == first.Remittance, "UBL-SR-44", field+".remittance (BT-83)", "all payment means have the same remittance text")
		c.want(c.inv.Payments[n].Code == first.Code, "UBL-SR-47", field+".code (BT-81)", "all payment means have the same code; give one document per way to pay")
	}
	for n, note := range c.inv.Notes {
		field := fmt.Sprintf("notes[%d] (BT-22)", n)
		c.want(strings.TrimSpace(note) != "", "PEPPOL-EN16931-R008", field, "is empty; leave it out")
		code := SubjectCode(note)
		c.want(code == "" || known(subjectCodes, code), "BR-CL-08", field, "has %q between two number signs, which is read as a subject code (UNTDID 4451) and is none that is known here", code)
	}
}

// SubjectCode is what UBL's binding reads as the subject of a note (BT-21): three characters between its first two
// number signs; empty if there is none.
func SubjectCode(note string) string {
	_, rest, _ := strings.Cut(note, "#")
	code, _, closed := strings.Cut(rest, "#")
	if !closed || utf8.RuneCountInString(code) != 3 {
		return ""
	}
	return code
}
