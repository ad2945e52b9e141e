package job

import (
	"testing"

	"pgregory.net/rapid"

	"ramprow/internal/engine/billing/en16931"
	"ramprow/internal/engine/billing/ubl"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// Whatever the billing, what the job issues and credits is UBL that the checker
// accepts, and the payers' parts are the whole to the cent.
func TestEveryBillingGivesValidDocuments(t *testing.T) {
	s := proved(t, "follower-4")
	s.sell()
	kinds := map[string]int{}
	documents := 0
	rapid.Check(t, func(r *rapid.T) {
		j := s.job().clone()
		j.Billing = anyBilling(r)
		if err := checkBilling(j.Billing, "EUR"); err != nil {
			r.Fatal(err)
		}
		if rapid.Bool().Draw(r, "advance") {
			j.Advances = []*jobv1.Advance{{Payer: payerCustomer, Amount: euros(rapid.Int64Range(1, 30_000).Draw(r, "paid"))}}
		}
		wantWhole(r, j)
		for n, b := range j.bills(loaded()[car], s.st.seller, s.now) {
			invoice, err := j.numbered(b, s.st.seller, "2026", uint64(n)+1, s.input())
			if err != nil {
				r.Fatal(err)
			}
			j.issue(invoice)
			wantValid(r, invoice)
			note, err := s.st.creditNote(j, invoice, b.doc, drawnLines(r, b.doc), "agreed", s.input())
			if err != nil {
				r.Fatal(err)
			}
			wantValid(r, note.GetCreditNote())
			documents += 2
			kinds[invoice.GetTaxes()[0].GetCategory()+" "+invoice.GetPayer()]++
		}
	})
	if documents < 200 || len(kinds) < 8 {
		t.Errorf("only %d documents of %v", documents, kinds)
	}
}

// drawnLines draws lines to credit: all, or one where that is allowed.
func drawnLines(r *rapid.T, d *en16931.Invoice) []uint32 {
	if len(d.AllowancesAndCharges) == 0 && rapid.Bool().Draw(r, "one line") {
		return []uint32{rapid.Uint32Range(1, count(d.Lines)).Draw(r, "line")}
	}
	var all []uint32
	for n := range count(d.Lines) {
		all = append(all, n+1)
	}
	return all
}

func wantValid(r *rapid.T, i *jobv1.Invoice) {
	r.Helper()
	d, err := documentOf(i)
	if err != nil {
		r.Fatal(err)
	}
	document, err := ubl.Read(ubl.Write(d))
	if err != nil {
		r.Fatal(err)
	}
	if findings := append(document.Findings, documentFindings(document.Invoice)...); len(findings) > 0 {
		r.Fatalf("%s for %s: %v\n%s", i.GetNumber(), i.GetPayer(), findings, ubl.Write(d))
	}
	if d.Process == "" && i.GetPayer() != payerCustomer {
		r.Fatalf("%s has an electronic address and gets no Peppol document", i.GetPayer())
	}
	var net int64
	for _, l := range i.GetLines() {
		net += l.GetNet().GetMinorUnits()
	}
	if net != i.GetNet().GetMinorUnits() {
		r.Fatalf("the lines add up to %d, net is %d", net, i.GetNet().GetMinorUnits())
	}
}

// wantWhole: line by line, what the payers bear is what was sold.
func wantWhole(r *rapid.T, j *Job) {
	r.Helper()
	payers := j.payers()
	for _, l := range j.sales(loaded()[car]) {
		var sum int64
		for _, p := range portions(l.net, l.kind, payers) {
			sum += p
		}
		if sum != l.net {
			r.Fatalf("%s: the payers bear %d of %d", l.title, sum, l.net)
		}
	}
}

// A payer's part is within a cent of his share.
func TestPortionsAreFair(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		net := rapid.Int64Range(-1_000_000, 1_000_000).Draw(r, "net")
		list := []*jobv1.Payer{
			{Id: "a", Shares: []*jobv1.Share{part(0, rapid.Uint32Range(0, 5000).Draw(r, "a"))}},
			{Id: "b", Shares: []*jobv1.Share{part(0, rapid.Uint32Range(0, 5000).Draw(r, "b"))}},
			{Id: payerCustomer},
		}
		rest := int64(wholeShare) - share(list[0], 1) - share(list[1], 1)
		for n, bears := range []int64{share(list[0], 1), share(list[1], 1), rest} {
			off := portions(net, 1, list)[n]*wholeShare - net*bears
			if off < -wholeShare || off > wholeShare {
				r.Fatalf("payer %d bears %d of %d", n, portions(net, 1, list)[n], net)
			}
		}
	})
}
