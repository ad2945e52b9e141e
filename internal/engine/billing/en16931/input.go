package en16931

import "strings"

// What an entry form asks before there is a whole invoice: the same rules on a
// part of it.

// CheckParty gives what the standard has against a party by itself: the prefix
// of its VAT identifier, and the check digits of its identifiers. Fields are
// named as this package's JSON names them.
func CheckParty(p *Party) []Finding {
	c := &checker{inv: &Invoice{}}
	c.vatPrefix(p.VATID, "vat_id")
	c.identifier(p.Endpoint, "endpoint")
	c.identifier(p.Registration, "registration")
	if r := p.Registration; r != nil && r.Scheme != "" {
		c.want(icd(r.Scheme) && r.Scheme <= "0240" && !known(icdGaps, r.Scheme), "BR-CL-11", "registration_scheme", "%q is no scheme of ISO 6523", r.Scheme)
	}
	return c.findings
}

// icdGaps are numbers of the ISO 6523 list that were never given.
var icdGaps = words("0092 0103 0181 0182")

// CheckCategory gives what is wrong with a category's rate, nil for nothing.
func CheckCategory(t Category) *Finding {
	c := &checker{inv: &Invoice{}}
	k := family(t.Code)
	c.rate(t, k, k.rules+"-05", "rate")
	if len(c.findings) == 0 {
		return nil
	}
	return &c.findings[0]
}

// CategoryRules names the family of rules of a category, as in BR-S.
func CategoryRules(code string) string { return family(code).rules }

// NeedsReason reports whether a category is for what bears no tax, and so must say why.
func NeedsReason(code string) bool { return family(code).reason == reasonRequired }

// KnownReason reports whether a code of the VATEX list may go with a category; none always may.
func KnownReason(code, category string) bool {
	if code == "" {
		return true
	}
	own, bound := reasonCategories[strings.ToUpper(code)]
	return vatex(code) && (!bound || own.category == category)
}
