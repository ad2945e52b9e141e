package e2e_test

import (
	"strings"
	"testing"

	"ramprow/internal/platform/identity"
	torqueauditv1 "ramprow/proto/ramprow/torque_audit/v1"
)

// A wrench fails its check after the invoice: the owner finds the car and its
// customer, and says that she knows; the technician goes on to the joint itself.
func TestDeskChecksAgain(t *testing.T) {
	w, _ := openTold(t, end)
	newBrowser := openBrowsers(t)
	audit := w.clients(t).Audit
	checked, err := audit.RecordWrenchCheck(w.as(t, site, "tomas", identity.Technician), &torqueauditv1.RecordWrenchCheckRequest{
		RequestId: "check-0001", Wrench: "wrenches/w1", TargetNm: 10, MeasuredNm: 8,
	})
	if err != nil {
		t.Fatal(err)
	}
	lines := checked.GetLookBack().GetLines()
	if len(lines) == 0 {
		t.Fatal("the wrench tightened nothing in the story")
	}
	technician, owner := newBrowser(w.Desk.URL()), newBrowser(w.Desk.URL())
	technician.signIn(w, "tomas", identity.Technician)
	owner.signIn(w, "ines", identity.Owner)

	technician.open("/again")
	technician.reads("RP-OR 16", "The owner has not seen it yet.", "it failed its last check")
	if ask[bool](technician, `!!document.querySelector("form[action*=lookbacks]")`) {
		t.Error("a technician may say that the owner knows")
	}
	technician.accessible("again-technician")
	technician.follow("/again", `a[href="/work/1/tighten?joint=`+lines[0].GetJoint()+`"]`)
	technician.reads(lines[0].GetTitle())

	owner.open("/again")
	for _, line := range lines {
		owner.reads(line.GetTitle(), line.GetCustomer())
	}
	owner.accessible("again-filled")
	owner.picture("again-filled")
	owner.click(`form[action*=lookbacks] button`)
	owner.awaitText("Noted: you know of it")
	owner.reads("Seen by ines")
	technician.open("/again")
	technician.reads("Seen by ines", "No joint waits to be tried again.")
	technician.picture("again-technician")
}

// reads demands words on the page.
func (b *browser) reads(words ...string) {
	b.t.Helper()
	page := b.text("main")
	for _, w := range words {
		if !strings.Contains(page, w) {
			b.t.Errorf("the page lacks %q: %s", w, page)
		}
	}
}

func (b *browser) awaitText(text string) {
	b.t.Helper()
	b.await(`document.body?.innerText.includes(` + quoted(text) + `)`)
}
