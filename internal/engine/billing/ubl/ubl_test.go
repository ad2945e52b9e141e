package ubl_test

import (
	"bytes"
	"errors"
	"os/exec"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/shopspring/decimal"
	"pgregory.net/rapid"

	"ramprow/internal/engine/billing/en16931"
	"ramprow/internal/engine/billing/invoicetest"
	"ramprow/internal/engine/billing/ubl"
)

// same compares invoices by value: 1.50 is 1.5.
var same = []cmp.Option{
	cmp.Comparer(func(a, b decimal.Decimal) bool { return a.Equal(b) }),
	cmpopts.EquateEmpty(),
}

// Whatever is written is accepted by the checker after it was read again, and
// is the invoice that it was. Every run of the suite tries 300, credit notes and
// invoices of every tax category, and counts them.
func TestRoundTrip(t *testing.T) {
	kinds := map[string]int{}
	seen := 0
	rapid.Check(t, func(t *rapid.T) {
		for range 3 {
			want := invoicetest.Random(t)
			document, err := ubl.Read(ubl.Write(want))
			if err != nil {
				t.Fatal(err)
			}
			if findings := document.Check(); len(findings) > 0 {
				t.Fatalf("%v\n%s", findings, ubl.Write(want))
			}
			if diff := cmp.Diff(want, document.Invoice, same...); diff != "" {
				t.Fatalf("read differs (-written +read):\n%s\n%s", diff, ubl.Write(want))
			}
			seen++
			kinds[want.TypeCode+" "+want.Lines[0].Tax.Code]++
		}
	})
	if seen < 200 || len(kinds) < 14 {
		t.Errorf("only %d documents of the kinds %v", seen, kinds)
	}
}

// Writing is stable: the same invoice gives the same bytes, also after reading.
func TestWriteIsStable(t *testing.T) {
	first := ubl.Write(invoicetest.Good())
	document, err := ubl.Read(first)
	if err != nil {
		t.Fatal(err)
	}
	if second := ubl.Write(document.Invoice); !bytes.Equal(first, second) {
		t.Errorf("first\n%s\nsecond\n%s", first, second)
	}
}

// What a person would do to a file by hand, and the rule that names it.
func TestDamagedDocuments(t *testing.T) {
	good := string(ubl.Write(invoicetest.Good()))
	tests := []struct{ name, old, new, rule string }{
		{"total off by a cent", "<cbc:TaxInclusiveAmount currencyID=\"EUR\">211.84<", "<cbc:TaxInclusiveAmount currencyID=\"EUR\">211.85<", "BR-CO-15"},
		{"empty element", "<cbc:BuyerReference>jobs/17<", "<cbc:BuyerReference> <", "PEPPOL-EN16931-R008"},
		{"not a number", ">1.55<", ">1,55<", "XSD"},
		{"exponent", ">1.55<", ">1e99<", "XSD"},
		{"another currency", "<cbc:PriceAmount currencyID=\"EUR\">1.55", "<cbc:PriceAmount currencyID=\"SEK\">1.55", "PEPPOL-EN16931-R051"},
		{"unknown element", "<cbc:BuyerReference>", "<cbc:UUID>1</cbc:UUID><cbc:BuyerReference>", "UBL-CR"},
		{"unknown tax category", "<cbc:ID>E</cbc:ID>", "<cbc:ID>X</cbc:ID>", "BR-CL-17"},
		{"neither charge nor allowance", "<cbc:ChargeIndicator>true<", "<cbc:ChargeIndicator>yes<", "PEPPOL-EN16931-R043"},
		{"a negative price", ">1.55<", ">-1.55<", "BR-27"},
		{"an amount of 10^12", "<cbc:PayableAmount currencyID=\"EUR\">211.84<", "<cbc:PayableAmount currencyID=\"EUR\">1000000000000<", "AMOUNT_RANGE"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if !strings.Contains(good, tt.old) {
				t.Fatalf("%q is not in\n%s", tt.old, good)
			}
			document, err := ubl.Read([]byte(strings.Replace(good, tt.old, tt.new, 1)))
			if err != nil {
				t.Fatal(err)
			}
			findings := document.Check()
			if !slices.ContainsFunc(findings, func(f en16931.Finding) bool { return f.Rule == tt.rule }) {
				t.Errorf("no %s in %v", tt.rule, findings)
			}
		})
	}
}

func TestNoDocument(t *testing.T) {
	deep := strings.Repeat("<a>", 50) + strings.Repeat("</a>", 50)
	tests := []struct{ name, text string }{
		{"nothing", ""},
		{"text", "an invoice"},
		{"another document", "<Order xmlns='urn:oasis:names:specification:ubl:schema:xsd:Order-2'/>"},
		{"no namespace", "<Bill/>"},
		{"cut off", string(ubl.Write(invoicetest.Good()))[:400]},
		{"a document type", "<!DOCTYPE x [<!ENTITY a 'b'>]><Invoice>&a;</Invoice>"},
		{"two documents", string(ubl.Write(invoicetest.Good())) + "<x/>"},
		{"too deep", deep},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if _, err := ubl.Read([]byte(tt.text)); !errors.Is(err, ubl.ErrNoDocument) {
				t.Errorf("got %v", err)
			}
		})
	}
}

// Whatever the file holds, reading, checking and writing come to an end.
func FuzzRead(f *testing.F) {
	f.Add(ubl.Write(invoicetest.Good()))
	f.Add([]byte("<Invoice xmlns='urn:oasis:names:specification:ubl:schema:xsd:Invoice-2'/>"))
	f.Add([]byte("<CreditNote xmlns='urn:oasis:names:specification:ubl:schema:xsd:CreditNote-2'><a/></CreditNote>"))
	f.Add([]byte("<!DOCTYPE x><Invoice/>"))
	f.Fuzz(func(t *testing.T, data []byte) {
		document, err := ubl.Read(data)
		if err != nil {
			return
		}
		document.Check()
		again, err := ubl.Read(ubl.Write(document.Invoice))
		if err != nil && !errors.Is(err, ubl.ErrNoDocument) {
			t.Fatal(err)
		}
		if err == nil {
			again.Check()
		}
	})
}

// xmllint, where it is installed, finds what is written well-formed.
func TestWellFormedByXmllint(t *testing.T) {
	xmllint, err := exec.LookPath("xmllint")
	if err != nil {
		t.Skip("xmllint is not installed")
	}
	command := exec.CommandContext(t.Context(), xmllint, "--noout", "-")
	command.Stdin = bytes.NewReader(ubl.Write(invoicetest.Good()))
	if out, err := command.CombinedOutput(); err != nil {
		t.Errorf("%v: %s", err, out)
	}
}
