package ubl_test

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"ramprow/internal/engine/billing/invoicetest"
	"ramprow/internal/engine/billing/ubl"
)

// sequences is the order in which the schema of UBL 2.1 (OASIS, 2013) has what is written here, by parent; from memory.
// A star may come several times.
var sequences = map[string]string{
	"Invoice": `CustomizationID ProfileID ID IssueDate DueDate InvoiceTypeCode Note* TaxPointDate DocumentCurrencyCode TaxCurrencyCode
		AccountingCost BuyerReference InvoicePeriod OrderReference BillingReference* DespatchDocumentReference ReceiptDocumentReference
		OriginatorDocumentReference ContractDocumentReference AdditionalDocumentReference* ProjectReference AccountingSupplierParty
		AccountingCustomerParty PayeeParty TaxRepresentativeParty Delivery PaymentMeans* PaymentTerms AllowanceCharge* TaxTotal*
		LegalMonetaryTotal InvoiceLine*`,
	"CreditNote": `CustomizationID ProfileID ID IssueDate TaxPointDate CreditNoteTypeCode Note* DocumentCurrencyCode TaxCurrencyCode
		AccountingCost BuyerReference InvoicePeriod OrderReference BillingReference* DespatchDocumentReference ReceiptDocumentReference
		ContractDocumentReference AdditionalDocumentReference* OriginatorDocumentReference AccountingSupplierParty
		AccountingCustomerParty PayeeParty TaxRepresentativeParty Delivery PaymentMeans* PaymentTerms AllowanceCharge* TaxTotal*
		LegalMonetaryTotal CreditNoteLine*`,
	"InvoicePeriod":               `StartDate EndDate DescriptionCode`,
	"OrderReference":              `ID SalesOrderID`,
	"BillingReference":            `InvoiceDocumentReference`,
	"InvoiceDocumentReference":    `ID IssueDate`,
	"AdditionalDocumentReference": `ID DocumentTypeCode DocumentDescription Attachment`,
	"DespatchDocumentReference":   `ID`,
	"ReceiptDocumentReference":    `ID`,
	"OriginatorDocumentReference": `ID`,
	"ContractDocumentReference":   `ID`,
	"ProjectReference":            `ID`,
	"DocumentReference":           `ID DocumentTypeCode`,
	"Attachment":                  `EmbeddedDocumentBinaryObject ExternalReference`,
	"ExternalReference":           `URI`,
	"AccountingSupplierParty":     `Party`,
	"AccountingCustomerParty":     `Party`,
	"Party":                       `EndpointID PartyIdentification* PartyName PostalAddress PartyTaxScheme* PartyLegalEntity Contact`,
	"PayeeParty":                  `PartyIdentification PartyName PartyLegalEntity`,
	"TaxRepresentativeParty":      `PartyName PostalAddress PartyTaxScheme`,
	"DeliveryParty":               `PartyName`,
	"PartyIdentification":         `ID`,
	"PartyName":                   `Name`,
	"PostalAddress":               address,
	"Address":                     address,
	"AddressLine":                 `Line`,
	"Country":                     `IdentificationCode`,
	"PartyTaxScheme":              `CompanyID TaxScheme`,
	"TaxScheme":                   `ID`,
	"PartyLegalEntity":            `RegistrationName CompanyID CompanyLegalForm`,
	"Contact":                     `Name Telephone ElectronicMail`,
	"Delivery":                    `ActualDeliveryDate DeliveryLocation DeliveryParty`,
	"DeliveryLocation":            `ID Address`,
	"PaymentMeans":                `PaymentMeansCode PaymentDueDate PaymentID CardAccount PayeeFinancialAccount PaymentMandate`,
	"CardAccount":                 `PrimaryAccountNumberID NetworkID HolderName`,
	"PayeeFinancialAccount":       `ID Name FinancialInstitutionBranch`,
	"FinancialInstitutionBranch":  `ID`,
	"PaymentMandate":              `ID PayerFinancialAccount`,
	"PayerFinancialAccount":       `ID`,
	"PaymentTerms":                `Note`,
	"AllowanceCharge":             `ChargeIndicator AllowanceChargeReasonCode AllowanceChargeReason MultiplierFactorNumeric Amount BaseAmount TaxCategory`,
	"TaxCategory":                 category,
	"ClassifiedTaxCategory":       category,
	"TaxTotal":                    `TaxAmount TaxSubtotal*`,
	"TaxSubtotal":                 `TaxableAmount TaxAmount TaxCategory`,
	"LegalMonetaryTotal":          `LineExtensionAmount TaxExclusiveAmount TaxInclusiveAmount AllowanceTotalAmount ChargeTotalAmount PrepaidAmount PayableRoundingAmount PayableAmount`,
	"InvoiceLine":                 `ID Note InvoicedQuantity LineExtensionAmount AccountingCost InvoicePeriod OrderLineReference DocumentReference AllowanceCharge* Item Price`,
	"CreditNoteLine":              `ID Note CreditedQuantity LineExtensionAmount AccountingCost InvoicePeriod OrderLineReference DocumentReference AllowanceCharge* Item Price`,
	"OrderLineReference":          `LineID`,
	"Item":                        `Description Name BuyersItemIdentification SellersItemIdentification StandardItemIdentification OriginCountry CommodityClassification* ClassifiedTaxCategory AdditionalItemProperty*`,
	"BuyersItemIdentification":    `ID`,
	"SellersItemIdentification":   `ID`,
	"StandardItemIdentification":  `ID`,
	"OriginCountry":               `IdentificationCode`,
	"CommodityClassification":     `ItemClassificationCode`,
	"AdditionalItemProperty":      `Name Value`,
	"Price":                       `PriceAmount BaseQuantity AllowanceCharge`,
}

const (
	address  = `StreetName AdditionalStreetName CityName PostalZone CountrySubentity AddressLine Country`
	category = `ID Percent TaxExemptionReasonCode TaxExemptionReason TaxScheme`
)

// attributes that the binding of EN 16931 allows, by element.
var attributes = map[string]string{
	"EndpointID": "schemeID", "ID": "schemeID", "CompanyID": "schemeID", "PaymentMeansCode": "name", "ItemClassificationCode": "listID listVersionID",
	"EmbeddedDocumentBinaryObject": "mimeCode filename", "InvoicedQuantity": "unitCode", "CreditedQuantity": "unitCode", "BaseQuantity": "unitCode",
}

// element is what was written, read by the standard library and not by this package.
type element struct {
	name  string
	attrs []xml.Attr
	text  string
	kids  []*element
}

func parsed(t fataler, data []byte) *element {
	t.Helper()
	top := &element{}
	stack := []*element{top}
	decoder := xml.NewDecoder(strings.NewReader(string(data)))
	for {
		token, err := decoder.Token()
		if errors.Is(err, io.EOF) {
			return top.kids[0]
		}
		if err != nil {
			t.Fatalf("%v", err)
		}
		last := stack[len(stack)-1]
		switch token := token.(type) {
		case xml.StartElement:
			kid := &element{name: token.Name.Local, attrs: token.Attr}
			last.kids = append(last.kids, kid)
			stack = append(stack, kid)
		case xml.CharData:
			last.text += string(token)
		case xml.EndElement:
			stack = stack[:len(stack)-1]
		}
	}
}

type fataler interface {
	Helper()
	Fatalf(format string, args ...any)
}

// flaws names what the schema, UBL-DT-01 (two decimals), PEPPOL-EN16931-R008 (nothing empty) and the UBL-SR rules on
// what comes once have against an element.
func (e *element) flaws(path string) []string {
	path += "/" + e.name
	var list []string
	for _, a := range e.attrs {
		allowed := attributes[e.name]
		if strings.HasSuffix(e.name, "Amount") {
			allowed = "currencyID"
		}
		if a.Name.Space != "xmlns" && a.Name.Local != "xmlns" && !slices.Contains(strings.Fields(allowed), a.Name.Local) {
			list = append(list, fmt.Sprintf("%s: attribute %s", path, a.Name.Local))
		}
	}
	if len(e.kids) == 0 {
		_, decimals, _ := strings.Cut(e.text, ".")
		if strings.HasSuffix(e.name, "Amount") && e.name != "PriceAmount" && !strings.Contains(path, "/Price/") && len(decimals) > 2 {
			list = append(list, path+": more than two decimals in "+e.text)
		}
		if strings.TrimSpace(e.text) == "" {
			list = append(list, path+": is empty")
		}
		return list
	}
	order, known := sequences[e.name]
	if !known {
		return append(list, path+": is no parent")
	}
	places := strings.Fields(order)
	at := 0
	for n, kid := range e.kids {
		place := slices.IndexFunc(places, func(p string) bool { return strings.TrimSuffix(p, "*") == kid.name })
		twice := n > 0 && e.kids[n-1].name == kid.name
		switch {
		case place < 0:
			list = append(list, fmt.Sprintf("%s: %s does not belong here", path, kid.name))
		case place < at:
			list = append(list, fmt.Sprintf("%s: %s comes too late", path, kid.name))
		case twice && !strings.HasSuffix(places[place], "*"):
			list = append(list, fmt.Sprintf("%s: %s twice", path, kid.name))
		}
		at = max(at, place)
		list = append(list, kid.flaws(path)...)
	}
	return list
}

// Whatever is written has its elements in the schema's order, and none that the standard does not use.
func TestOrderOfElements(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		for range 3 {
			data := ubl.Write(invoicetest.Random(t))
			if flaws := parsed(t, data).flaws(""); len(flaws) > 0 {
				t.Fatalf("%s\n%s", strings.Join(flaws, "\n"), data)
			}
		}
	})
}

// The check above finds what is wrong.
func TestOrderOfElementsCanFail(t *testing.T) {
	good := string(ubl.Write(invoicetest.Good()))
	for n, change := range [][2]string{
		{"<cbc:IssueDate>", "<cbc:UUID>1</cbc:UUID><cbc:IssueDate>"},
		{"<cbc:ID>2026", "<cbc:BuyerReference>x</cbc:BuyerReference><cbc:ID>2026"},
		{"<cbc:PayableAmount currencyID=\"EUR\">", "<cbc:PayableAmount currencyID=\"EUR\">0.001"},
		{"<cbc:DocumentCurrencyCode>", "<cbc:DocumentCurrencyCode listID=\"x\">"},
		{"<cbc:PayableAmount ", "<cbc:PayableAmount currencyID=\"EUR\">1</cbc:PayableAmount><cbc:PayableAmount "},
		{"<cbc:BuyerReference>", "<cbc:AccountingCost> </cbc:AccountingCost><cbc:BuyerReference>"},
	} {
		bad := strings.Replace(good, change[0], change[1], 1)
		if bad == good || len(parsed(t, []byte(bad)).flaws("")) == 0 {
			t.Errorf("%s: %q goes unnoticed", strconv.Itoa(n), change[1])
		}
	}
}
