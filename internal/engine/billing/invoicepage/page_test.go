package invoicepage_test

import (
	"strings"
	"testing"

	"pgregory.net/rapid"

	"ramprow/internal/engine/billing/invoicepage"
	"ramprow/internal/engine/billing/invoicetest"
)

// The page carries the figures of the document, and text as text.
func TestPageShowsTheInvoice(t *testing.T) {
	page, err := invoicepage.Write(invoicetest.Good())
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{
		"<h1>Invoice 2026-000017</h1>", "211.84 EUR", "S 20 %", "26.01 EUR", "Customer &amp; Sons &lt;Fleet&gt;", "DE02100100100006820101", "Exempt", "90 min</td>", "2 piece</td>",
	} {
		if !strings.Contains(string(page), want) {
			t.Errorf("%q is not on the page", want)
		}
	}
	if strings.Contains(string(page), "<Fleet>") || strings.Contains(string(page), "<script") {
		t.Error("text became markup")
	}
}

func TestEveryInvoiceHasAPage(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		inv := invoicetest.Random(t)
		page, err := invoicepage.Write(inv)
		if err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(string(page), inv.Totals.Payable.Value.StringFixed(2)) {
			t.Fatal("the sum to pay is not on the page")
		}
	})
}
