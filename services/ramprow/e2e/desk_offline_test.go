package e2e_test

import (
	"cmp"
	"fmt"
	"slices"
	"testing"

	"github.com/chromedp/chromedp"

	"ramprow/internal/platform/identity"
	torqueauditv1 "ramprow/proto/ramprow/torque_audit/v1"
)

// A technician tightens on while the network is away: the next fastener is named
// from the page itself, the entries are shown as waiting, and they arrive once
// and in order when it comes back.
func TestDeskTightensWithoutNetwork(t *testing.T) {
	w, _ := openTold(t, joint)
	newBrowser := openBrowsers(t)
	const job = "1"
	audit := w.clients(t).Audit
	as := w.as(t, site, "tomas", identity.Technician)
	sheet, err := audit.GetSheet(as, &torqueauditv1.GetSheetRequest{Job: "jobs/" + job})
	if err != nil {
		t.Fatal(err)
	}
	before := readings(sheet.GetSheet())

	line := openLine(t, w.Desk.Address)
	b := newBrowser("http://" + line.address())
	b.signIn(w, "tomas", identity.Technician)
	b.open("/work/" + job + "/tighten")
	b.picture("tightening")
	b.accessible("tightening")
	wanted := ask[[]struct {
		Fastener uint32
		Stage    uint32
	}](b, `JSON.parse(document.getElementById("entry").dataset.turns)`)
	torque := ask[string](b, `document.getElementById("say").innerText.match(/: ([0-9.]+) N/)[1]`)
	b.do(chromedp.SetValue("#wrench", "wrenches/"+ask[string](b, `Number("`+torque+`") <= 24 ? "w1" : Number("`+torque+`") <= 120 ? "w2" : "w3"`)))

	line.cut()
	entries := min(3, len(wanted))
	for i := range entries {
		b.enter("#torque", torque)
		b.do(chromedp.KeyEvent("\r"))
		b.await(fmt.Sprintf(`document.querySelectorAll("#waiting li").length == %d`, i+1))
	}
	b.picture("waiting")
	if sheet, err = audit.GetSheet(as, &torqueauditv1.GetSheetRequest{Job: "jobs/" + job}); err != nil || len(readings(sheet.GetSheet())) != len(before) {
		t.Fatalf("%d readings arrived without network, %v", len(readings(sheet.GetSheet()))-len(before), err)
	}

	line.mend()
	b.await(`document.getElementById("waiting").hidden`)
	if sheet, err = audit.GetSheet(as, &torqueauditv1.GetSheetRequest{Job: "jobs/" + job}); err != nil {
		t.Fatal(err)
	}
	arrived := readings(sheet.GetSheet())[len(before):]
	if len(arrived) != entries {
		t.Fatalf("%d of %d readings arrived", len(arrived), entries)
	}
	for i, r := range arrived {
		if r.GetFastener() != wanted[i].Fastener || !r.GetCounts() {
			t.Errorf("reading %d is of fastener %d and counts %v (%s), want fastener %d", i, r.GetFastener(), r.GetCounts(), r.GetReason(), wanted[i].Fastener)
		}
		if i > 0 && r.GetAt().AsTime().Before(arrived[i-1].GetAt().AsTime()) {
			t.Errorf("reading %d is dated before the one before it", i)
		}
	}
	b.await(`document.getElementById("say").innerText != "…"`)
}

// readings of a sheet in the order in which they were kept.
func readings(s *torqueauditv1.Sheet) []*torqueauditv1.Reading {
	var all []*torqueauditv1.Reading
	for _, j := range s.GetJoints() {
		all = append(all, j.GetReadings()...)
	}
	slices.SortFunc(all, func(a, b *torqueauditv1.Reading) int { return cmp.Compare(a.GetNumber(), b.GetNumber()) })
	return all
}
