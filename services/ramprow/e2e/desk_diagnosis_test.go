package e2e_test

import (
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"ramprow/internal/platform/identity"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// A technician enters what he knows, is told what to test next and what it may
// be, compares the ways, and confirms: with the keyboard alone.
func TestDeskTechnicianDiagnoses(t *testing.T) {
	w, _ := openTold(t, end)
	clients, as := w.clients(t), w.as(t, site, "ines", identity.Owner)
	opened, err := clients.Job.OpenJob(as, &jobv1.OpenJobRequest{
		RequestId: "diagnosis-open", Complaint: "Shakes.", Customer: &jobv1.Customer{Name: "Otto Wend"},
		Vehicle: &jobv1.Vehicle{Vin: "YMR0RN16ZHA000042", Plate: "RP-OW 42", Catalogue: "marlow-orrin", Features: map[string]string{"body": "hatch", "gearbox": "manual"}},
	})
	if err != nil {
		t.Fatal(err)
	}
	name := opened.GetJob().GetName()
	page := "/work/" + strings.TrimPrefix(name, "jobs/")
	b := openBrowsers(t)(w.Desk.URL())
	b.signIn(w, "tomas", identity.Technician)
	b.follow(page, `a[href="`+page+`/diagnosis"]`)
	b.accessible("diagnosis-empty")
	b.picture("diagnosis-empty")
	b.tabTo("#codes")
	b.do(chromedp.KeyEvent("P0304"), chromedp.KeyEvent("\r"))
	b.await("document.querySelector('#known')?.innerText.includes('P0304')")
	b.await("document.querySelector('#next') && document.querySelector('#causes')")
	b.tabTo("#cause-coil-4")
	b.do(chromedp.KeyEvent(" "))
	b.tabTo("#ways")
	b.do(chromedp.KeyEvent("\r"))
	b.await("document.querySelector('#compared')")
	b.accessible("diagnosis")
	b.picture("diagnosis")
	if way := b.text("#compared"); !strings.Contains(way, "EUR") || !strings.Contains(way, "the customer is to be asked") {
		t.Errorf("the ways are told as %q", way)
	}
	b.tabTo("#confirm")
	b.do(chromedp.KeyEvent("\r"))
	b.await("location.pathname == " + quoted(page) + " && document.querySelector('#now')")
	r, err := clients.Job.GetJob(as, &jobv1.GetJobRequest{Job: name})
	if err != nil {
		t.Fatal(err)
	}
	if causes := r.GetJob().GetCauses(); len(causes) != 1 || causes[0] != "coil-4" || r.GetJob().GetPlan() == nil {
		t.Errorf("confirmed is %v, planned %v", causes, r.GetJob().GetPlan() != nil)
	}
	if codes := r.GetJob().GetCodeReports(); len(codes) != 1 || codes[0].GetReadBy() != "tomas" {
		t.Errorf("the codes arrived as %v", codes)
	}
}
