package en16931

import (
	"fmt"
	"strings"
)

// peppolIdentifiers: PEPPOL-COMMON-R040 to R050, check digits of the registers
// that publish one, wherever an identifier of the scheme stands.
func (c *checker) peppolIdentifiers() {
	c.partyIdentifiers(&c.inv.Seller, "seller")
	c.partyIdentifiers(&c.inv.Buyer, "buyer")
	if c.inv.Representative != nil {
		c.partyIdentifiers(c.inv.Representative, "tax_representative")
	}
	if p := c.inv.Payee; p != nil {
		c.identifier(p.Identifier, "payee.identifier")
		c.identifier(p.Registration, "payee.registration")
	}
}

func (c *checker) partyIdentifiers(p *Party, name string) {
	c.identifier(p.Endpoint, name+".endpoint")
	c.identifier(p.Registration, name+".registration")
	for n := range p.Identifiers {
		c.identifier(&p.Identifiers[n], fmt.Sprintf("%s.identifiers[%d]", name, n))
	}
}

// registers are schemes of ISO 6523 with a check digit.
var registers = map[string]struct {
	rule, title string
	valid       func(string) bool
}{
	"0088": {"PEPPOL-COMMON-R040", "GLN", gln},
	"0192": {"PEPPOL-COMMON-R041", "Norwegian organisation number", norwegian},
	"0184": {"PEPPOL-COMMON-R042", "Danish CVR number", danish},
	"0208": {"PEPPOL-COMMON-R043", "Belgian enterprise number", belgian},
	"0007": {"PEPPOL-COMMON-R049", "Swedish organisation number", swedish},
	"0151": {"PEPPOL-COMMON-R050", "Australian business number", australian},
}

func (c *checker) identifier(id *Identifier, field string) {
	if id == nil {
		return
	}
	if r, ok := registers[id.Scheme]; ok {
		c.want(r.valid(strings.TrimSpace(id.Value)), r.rule, field, "%q is no %s", id.Value, r.title)
	}
}

// digits gives the values of a text of digits; nil if there is something else in it.
func digits(text string, length int) []int {
	if len(text) != length && length > 0 || text == "" {
		return nil
	}
	list := make([]int, len(text))
	for n, r := range []byte(text) {
		if r < '0' || r > '9' {
			return nil
		}
		list[n] = int(r - '0')
	}
	return list
}

// gln: GS1's check digit, weights 3 and 1 from the right.
func gln(text string) bool {
	d := digits(text, 0)
	if len(d) < 2 || len(d) > 40 {
		return false
	}
	total, last := 0, len(d)-1
	for n := range last {
		total += d[last-1-n] * (3 - 2*(n%2))
	}
	return (10-total%10)%10 == d[last]
}

// norwegian: modulus 11, weights 2 to 7 from the right.
func norwegian(text string) bool {
	d := digits(text, 9)
	if d == nil {
		return false
	}
	total := 0
	for n := range 8 {
		total += d[7-n] * (n%6 + 2)
	}
	return text != "000000000" && (11-total%11)%11 == d[8]
}

// danish: DK and eight digits.
func danish(text string) bool {
	return strings.HasPrefix(text, "DK") && digits(text[2:], 8) != nil
}

// belgian: the last two digits are 97 less the rest of the first eight by 97.
func belgian(text string) bool {
	d := digits(text, 10)
	if d == nil {
		return false
	}
	first := 0
	for _, v := range d[:8] {
		first = first*10 + v
	}
	return 97-first%97 == d[8]*10+d[9]
}

// swedish: Luhn's check digit over ten digits.
func swedish(text string) bool {
	d := digits(text, 10)
	if d == nil {
		return false
	}
	total := 0
	for n, v := range d[:9] {
		if n%2 == 0 {
			v *= 2
		}
		total += v/10 + v%10
	}
	return (10-total%10)%10 == d[9]
}

// australian: weights 10, 1, 3 … 19 with the first digit less one, modulus 89.
func australian(text string) bool {
	d := digits(text, 11)
	if d == nil {
		return false
	}
	total := (d[0] - 1) * 10
	for n := 1; n < 11; n++ {
		total += d[n] * (2*n - 1)
	}
	return total%89 == 0
}
