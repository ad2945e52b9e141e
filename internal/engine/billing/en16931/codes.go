package en16931

import (
	"fmt"
	"slices"
	"strings"
)

// The code lists that EN 16931 and Peppol BIS Billing 3.0 restrict values to, as
// published with their validation artefacts (CEN v1.3.13, OpenPeppol 2023-05).
var (
	// UNTDID 1001 for invoices, for credit notes, and what the Peppol billing process takes of them.
	invoiceTypes = words(`
		71 80 82 84 102 130 202 203 204 211 218 219 295 325 326 331 380 382 383 384 385 386 387 388 389 390
		393 394 395 456 457 527 553 575 623 633 751 780 817 870 875 876 877 935`)
	creditTypes = words("81 83 261 262 296 308 381 396 420 458 502 503 532")
	peppolTypes = words(`
		71 80 82 84 102 218 219 326 331 380 382 383 384 386 388 393 395 553 575 623 780 817 870 875 876 877`)
	peppolCreditTypes = words("381 396 81 83 532")

	// Some of UNTDID 4451, from memory: additional conditions of sale, general information, government information,
	// note, payment information, regulatory information, supplier's remarks, tax declaration.
	subjectCodes = words("AAI AAK ABL ADU PMT REG SUR TXD")

	// ISO 3166-1 alpha-2, with Kosovo (1A) and Northern Ireland (XI), which the artefacts take too.
	countries = words(`
		1A AD AE AF AG AI AL AM AO AQ AR AS AT AU AW AX AZ BA BB BD BE BF BG BH BI BJ BL BM BN BO BQ BR BS
		BT BV BW BY BZ CA CC CD CF CG CH CI CK CL CM CN CO CR CU CV CW CX CY CZ DE DJ DK DM DO DZ EC EE EG
		EH ER ES ET FI FJ FK FM FO FR GA GB GD GE GF GG GH GI GL GM GN GP GQ GR GS GT GU GW GY HK HM HN HR
		HT HU ID IE IL IM IN IO IQ IR IS IT JE JM JO JP KE KG KH KI KM KN KP KR KW KY KZ LA LB LC LI LK LR
		LS LT LU LV LY MA MC MD ME MF MG MH MK ML MM MN MO MP MQ MR MS MT MU MV MW MX MY MZ NA NC NE NF NG
		NI NL NO NP NR NU NZ OM PA PE PF PG PH PK PL PM PN PR PS PT PW PY QA RE RO RS RU RW SA SB SC SD SE
		SG SH SI SJ SK SL SM SN SO SR SS ST SV SX SY SZ TC TD TF TG TH TJ TK TL TM TN TO TR TT TV TW TZ UA
		UG UM US UY UZ VA VC VE VG VI VN VU WF WS XI YE YT ZA ZM ZW`)

	// ISO 4217 alpha-3.
	currencies = words(`
		AED AFN ALL AMD ANG AOA ARS AUD AWG AZN BAM BBD BDT BGN BHD BIF BMD BND BOB BOV BRL BSD BTN BWP BYN
		BZD CAD CDF CHE CHF CHW CLF CLP CNY COP COU CRC CUC CUP CVE CZK DJF DKK DOP DZD EGP ERN ETB EUR FJD
		FKP GBP GEL GHS GIP GMD GNF GTQ GYD HKD HNL HRK HTG HUF IDR ILS INR IQD IRR ISK JMD JOD JPY KES KGS
		KHR KMF KPW KRW KWD KYD KZT LAK LBP LKR LRD LSL LYD MAD MDL MGA MKD MMK MNT MOP MRO MUR MVR MWK MXN
		MXV MYR MZN NAD NGN NIO NOK NPR NZD OMR PAB PEN PGK PHP PKR PLN PYG QAR RON RSD RUB RWF SAR SBD SCR
		SDG SEK SGD SHP SLL SOS SRD SSP STN SVC SYP SZL THB TJS TMT TND TOP TRY TTD TWD TZS UAH UGX USD USN
		UYI UYU UZS VEF VND VUV WST XAF XAG XAU XBA XBB XBC XBD XCD XDR XOF XPD XPF XPT XSU XTS XUA XXX YER
		ZAR ZMW ZWL`)

	// UNCL 5189 reasons of allowances, UNCL 7161 reasons of charges.
	allowanceReasons = words("41 42 60 62 63 64 65 66 67 68 70 71 88 95 100 102 103 104 105")
	chargeReasons    = words(`
		AA AAA AAC AAD AAE AAF AAH AAI AAS AAT AAV AAY AAZ ABA ABB ABC ABD ABF ABK ABL ABN ABR ABS ABT ABU
		ACF ACG ACH ACI ACJ ACK ACL ACM ACS ADC ADE ADJ ADK ADL ADM ADN ADO ADP ADQ ADR ADT ADW ADY ADZ AEA
		AEB AEC AED AEF AEH AEI AEJ AEK AEL AEM AEN AEO AEP AES AET AEU AEV AEW AEX AEY AEZ AJ AU CA CAB CAD
		CAE CAF CAI CAJ CAK CAL CAM CAN CAO CAP CAQ CAR CAS CAT CAU CAV CAW CAX CAY CAZ CD CG CS CT DAB DAC
		DAD DAF DAG DAH DAI DAJ DAK DAL DAM DAN DAO DAP DAQ DL EG EP ER FAA FAB FAC FC FH FI GAA HAA HD HH
		IAA IAB ID IF IR IS KO L1 LA LAA LAB LF MAE MI ML NAA OA PA PAA PC PL PRV RAB RAC RAD RAF RE RF RH
		RV SA SAA SAD SAE SAI SG SH SM SU TAB TAC TT TV V1 V2 WH XAA YY ZZZ`)

	// UNCL 4461.
	paymentMeans = words(`
		1 2 3 4 5 6 7 8 9 10 11 12 13 14 15 16 17 18 19 20 21 22 23 24 25 26 27 28 29 30 31 32 33 34 35 36
		37 38 39 40 41 42 43 44 45 46 47 48 49 50 51 52 53 54 55 56 57 58 59 60 61 62 63 64 65 66 67 68 70
		74 75 76 77 78 91 92 93 94 95 96 97 98 ZZZ`)

	// Reasons why no tax is charged (the VATEX list).
	vatexCodes = words(`
		VATEX-EU-79-C VATEX-EU-132 VATEX-EU-132-1A VATEX-EU-132-1B VATEX-EU-132-1C VATEX-EU-132-1D VATEX-
		EU-132-1E VATEX-EU-132-1F VATEX-EU-132-1G VATEX-EU-132-1H VATEX-EU-132-1I VATEX-EU-132-1J VATEX-
		EU-132-1K VATEX-EU-132-1L VATEX-EU-132-1M VATEX-EU-132-1N VATEX-EU-132-1O VATEX-EU-132-1P VATEX-
		EU-132-1Q VATEX-EU-143 VATEX-EU-143-1A VATEX-EU-143-1B VATEX-EU-143-1C VATEX-EU-143-1D VATEX-
		EU-143-1E VATEX-EU-143-1F VATEX-EU-143-1FA VATEX-EU-143-1G VATEX-EU-143-1H VATEX-EU-143-1I VATEX-
		EU-143-1J VATEX-EU-143-1K VATEX-EU-143-1L VATEX-EU-144 VATEX-EU-146-1E VATEX-EU-159 VATEX-EU-309
		VATEX-EU-148 VATEX-EU-148-A VATEX-EU-148-B VATEX-EU-148-C VATEX-EU-148-D VATEX-EU-148-E VATEX-
		EU-148-F VATEX-EU-148-G VATEX-EU-151 VATEX-EU-151-1A VATEX-EU-151-1AA VATEX-EU-151-1B VATEX-
		EU-151-1C VATEX-EU-151-1D VATEX-EU-151-1E VATEX-EU-153 VATEX-EU-G VATEX-EU-O VATEX-EU-IC VATEX-EU-AE
		VATEX-EU-D VATEX-EU-F VATEX-EU-I VATEX-EU-J VATEX-FR-FRANCHISE VATEX-FR-CNWVAT VATEX-FR-CGI261-1
		VATEX-FR-CGI261-2 VATEX-FR-CGI261-3 VATEX-FR-CGI261-4 VATEX-FR-CGI261-5 VATEX-FR-CGI261-7 VATEX-FR-
		CGI261-8 VATEX-FR-CGI261A VATEX-FR-CGI261B VATEX-FR-CGI261C-1 VATEX-FR-CGI261C-2 VATEX-FR-CGI261C-3
		VATEX-FR-CGI261D-1 VATEX-FR-CGI261D-1BIS VATEX-FR-CGI261D-2 VATEX-FR-CGI261D-3 VATEX-FR-CGI261D-4
		VATEX-FR-CGI261E-1 VATEX-FR-CGI261E-2 VATEX-FR-CGI277A VATEX-FR-CGI275 VATEX-FR-298SEXDECIESA VATEX-
		FR-CGI295 VATEX-FR-AE`)

	// Units of UN/ECE Recommendation 20 and 21 that a workshop sells by.
	workshopUnits = words(`
		C62 H87 EA SET PR MIN HUR DAY KMT MTR CMT MMT MTK LTR MLT CLT DLT KGM GRM MGM TNE KWH XPK XBO XTU
		XCA`)

	// Electronic address schemes of the EAS list.
	endpointSchemes = words(`
		0002 0007 0009 0037 0060 0088 0096 0097 0106 0130 0135 0142 0147 0151 0154 0158 0170 0177 0183 0184
		0188 0190 0191 0192 0193 0194 0195 0196 0198 0199 0200 0201 0202 0203 0204 0205 0208 0209 0210 0211
		0212 0213 0215 0216 0217 0218 0219 0220 0221 0225 0230 0235 0240 9910 9913 9914 9915 9918 9919 9920
		9922 9923 9924 9925 9926 9927 9928 9929 9930 9931 9932 9933 9934 9935 9936 9937 9938 9939 9940 9941
		9942 9943 9944 9945 9946 9947 9948 9949 9950 9951 9952 9953 9957 9959 AN AQ AS AU EM`)

	// What Peppol takes of them, with those that it has added since.
	peppolSchemes = words(`
		0002 0007 0009 0037 0060 0088 0096 0097 0106 0130 0135 0142 0151 0183 0184 0188 0190 0191 0192 0193
		0195 0196 0198 0199 0200 0201 0202 0204 0208 0209 0210 0211 0212 0213 0215 0216 0218 0221 0225 0230
		0235 0240 9910 9913 9914 9915 9918 9919 9920 9922 9923 9924 9925 9926 9927 9928 9929 9930 9931 9932
		9933 9934 9935 9936 9937 9938 9939 9940 9941 9942 9943 9944 9945 9946 9947 9948 9949 9950 9951 9952
		9953 9957 9959`)

	mediaTypes = words(`
		application/pdf image/png image/jpeg text/csv application/vnd.openxmlformats-
		officedocument.spreadsheetml.sheet application/vnd.oasis.opendocument.spreadsheet`)

	taxPointCodes = words("3 35 432")
)

// words is a sorted list of codes.
func words(list string) []string {
	codes := strings.Fields(list)
	slices.Sort(codes)
	return codes
}

func known(list []string, code string) bool {
	_, ok := slices.BinarySearch(list, code)
	return ok
}

// KnownCountry reports whether a code is one of ISO 3166-1.
func KnownCountry(code string) bool { return known(countries, code) }

// KnownCurrency reports whether a code is one of ISO 4217.
func KnownCurrency(code string) bool { return known(currencies, code) }

// KnownCategory reports whether a tax category is one that EN 16931 allows.
func KnownCategory(code string) bool { _, ok := families[code]; return ok }

// KnownEndpointScheme reports whether Peppol knows the scheme of an electronic address.
func KnownEndpointScheme(code string) bool {
	return known(peppolSchemes, code)
}

// KnownPayment reports whether a payment means is one of UNCL 4461.
func KnownPayment(code string) bool { return known(paymentMeans, code) }

// icd reports whether a scheme has the form of ISO 6523 (ICD): 0001 to 0299.
// The list grows every year; an unknown number of this range is not refused.
func icd(scheme string) bool {
	if len(scheme) != 4 || scheme < "0001" || scheme > "0299" {
		return false
	}
	return strings.Trim(scheme, "0123456789") == ""
}

// unit reports whether a code has the form of UN/ECE Recommendation 20 (two or
// three capitals and digits), or of Recommendation 21 behind an X. The lists
// have two thousand codes; their form is checked, not each code.
func unit(code string) bool {
	return len(code) >= 2 && len(code) <= 3 && strings.Trim(code, "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789") == ""
}

// vatex reports whether a code is in the VATEX list; large and small letters are alike.
func vatex(code string) bool { return known(vatexCodes, strings.ToUpper(code)) }

// KnownUnit reports whether a unit is one that a workshop sells by. Documents of
// others may use any of the two thousand; what is entered here may not.
func KnownUnit(code string) bool { return known(workshopUnits, code) }

// codes: BR-CL-01 to BR-CL-26.
func (c *checker) codes() {
	i := c.inv
	list := invoiceTypes
	if i.Credit {
		list = creditTypes
	}
	c.code(list, i.TypeCode, "BR-CL-01", "type_code (BT-3)", "UNTDID 1001")
	c.code(currencies, i.Currency, "BR-CL-04", "currency (BT-5)", "ISO 4217")
	c.code(currencies, i.TaxCurrency, "BR-CL-05", "tax_currency (BT-6)", "ISO 4217")
	c.code(taxPointCodes, i.TaxPointCode, "BR-CL-06", "tax_point_code (BT-8)", "UNTDID 2005: 3, 35 or 432")
	c.eachMoney(func(m *Money, field string) {
		c.code(currencies, m.Currency, "BR-CL-03", field+".currency", "ISO 4217")
	})
	c.partyCodes(&i.Seller, "seller")
	c.partyCodes(&i.Buyer, "buyer")
	if i.Representative != nil {
		c.partyCodes(i.Representative, "tax_representative")
	}
	if d := i.Delivery; d != nil {
		if d.Address != nil {
			c.code(countries, d.Address.Country, "BR-CL-14", "delivery.address.country (BT-80)", "ISO 3166-1")
		}
		if d.Location != nil && d.Location.Scheme != "" {
			c.want(icd(d.Location.Scheme), "BR-CL-26", "delivery.location.scheme (BT-71)", "%q is no scheme of ISO 6523", d.Location.Scheme)
		}
	}
	for n, p := range i.Payments {
		c.code(paymentMeans, p.Code, "BR-CL-16", fmt.Sprintf("payment_means[%d].code (BT-81)", n), "UNCL 4461")
	}
	for n, d := range i.Documents {
		c.code(mediaTypes, d.MediaType, "BR-CL-24", fmt.Sprintf("documents[%d].media_type (BT-125)", n), "the media types of the standard")
	}
	c.taxCodes()
	c.lineCodes()
}

func (c *checker) taxCodes() {
	c.eachBreakdown(func(b *Breakdown, field string) {
		c.category(b.Category.Code, "BR-CL-17", field+".category.code (BT-118)")
		if code := b.ExemptionReasonCode; code != "" {
			c.want(vatex(code), "BR-CL-22", field+".exemption_reason_code (BT-121)", "%q is no code of the VATEX list, as in VATEX-EU-AE", code)
		}
	})
	c.eachAllowance(func(a *AllowanceCharge, _ *Line, field string) {
		if a.Tax != nil {
			c.category(a.Tax.Code, "BR-CL-17", field+".tax.code")
		}
		if a.Charge {
			c.code(chargeReasons, a.ReasonCode, "BR-CL-20", field+".reason_code", "UNCL 7161")
		} else {
			c.code(allowanceReasons, a.ReasonCode, "BR-CL-19", field+".reason_code", "UNCL 5189")
		}
	})
}

func (c *checker) lineCodes() {
	for n := range c.inv.Lines {
		l := &c.inv.Lines[n]
		at := func(field string) string { return fmt.Sprintf("lines[%d].%s", n, field) }
		c.category(l.Tax.Code, "BR-CL-18", at("tax.code (BT-151)"))
		if l.Unit != "" {
			c.want(unit(l.Unit), "BR-CL-23", at("unit (BT-130)"), "%q is no unit of UN/ECE Recommendation 20 or 21", l.Unit)
		}
		if l.Price.PerUnit != "" {
			c.want(unit(l.Price.PerUnit), "BR-CL-23", at("price.per_unit (BT-150)"), "%q is no unit of UN/ECE Recommendation 20 or 21", l.Price.PerUnit)
		}
		if s := l.Item.StandardID; s != nil && s.Scheme != "" {
			c.want(icd(s.Scheme), "BR-CL-21", at("item.standard_id.scheme (BT-157)"), "%q is no scheme of ISO 6523", s.Scheme)
		}
		c.code(countries, l.Item.Origin, "BR-CL-15", at("item.origin (BT-159)"), "ISO 3166-1")
	}
}

func (c *checker) partyCodes(p *Party, name string) {
	if p.Address != nil {
		c.code(countries, p.Address.Country, "BR-CL-14", name+".address.country", "ISO 3166-1")
	}
	if p.Endpoint != nil {
		c.code(endpointSchemes, p.Endpoint.Scheme, "BR-CL-25", name+".endpoint.scheme", "the EAS list")
	}
	for n, id := range p.Identifiers {
		if id.Scheme != "" && id.Scheme != "SEPA" {
			c.want(icd(id.Scheme), "BR-CL-10", fmt.Sprintf("%s.identifiers[%d].scheme", name, n), "%q is no scheme of ISO 6523", id.Scheme)
		}
	}
	if r := p.Registration; r != nil && r.Scheme != "" {
		c.want(icd(r.Scheme), "BR-CL-11", name+".registration.scheme", "%q is no scheme of ISO 6523", r.Scheme)
	}
}

// code wants a value, if it is there, to be in a list.
func (c *checker) code(list []string, value, rule, field, of string) {
	if value != "" {
		c.want(known(list, value), rule, field, "%q is no code of %s", value, of)
	}
}

func (c *checker) category(value, rule, field string) {
	if value != "" {
		c.want(KnownCategory(value), rule, field, "%q is no tax category; S is standard, Z zero, E exempt, AE reverse charge, K intra-community, G export, O outside VAT", value)
	}
}
