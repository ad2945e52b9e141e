package e2e_test

import (
	"fmt"
	"net/http"
	"strings"
	"sync"
	"testing"

	"ramprow/internal/platform/identity"
	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

const (
	crowd     = 200       // a list shows at most 100
	crowdPage = 150 << 10 // bytes: what a page may weigh
	crowdPar  = 16        // so many jobs are opened at once
)

// fillUp opens so many jobs with the longest names that are taken; every fifth is
// diagnosed and wants parts and a bay, and every fifth lacks a part on the shelf.
func (w *workshop) fillUp(t *testing.T, jobs int) {
	t.Helper()
	clients, as := w.clients(t), w.as(t, site, "ines", identity.Owner)
	if _, err := clients.Inventory.SetPart(as, &inventoryv1.SetPartRequest{RequestId: "crowd-part", Part: &inventoryv1.Part{
		Number: "CROWD-1", Title: strings.Repeat("Longwordedpart", 8), Unit: commonv1.Unit_UNIT_PIECE, Bin: "Z-9",
	}}); err != nil {
		t.Fatal(err)
	}
	if _, err := clients.Inventory.ReceiveGoods(as, &inventoryv1.ReceiveGoodsRequest{
		RequestId: "crowd-goods", Lines: []*inventoryv1.ReceivedLine{{Part: "CROWD-1", Quantity: crowd / 5}},
	}); err != nil {
		t.Fatal(err)
	}
	name := strings.Repeat("Wenderby-Ottoline-", 6)
	numbers := make(chan int)
	var opening sync.WaitGroup
	for range crowdPar {
		opening.Go(func() {
			for n := range numbers {
				opened, err := clients.Job.OpenJob(as, &jobv1.OpenJobRequest{
					RequestId: fmt.Sprintf("crowd-open-%04d", n), Complaint: strings.Repeat("Unbrokenlongcomplaint", 47),
					Customer: &jobv1.Customer{Name: name, Contact: name, Address: name},
					Vehicle: &jobv1.Vehicle{
						Vin: "YMR0RN16ZHA000042", Plate: fmt.Sprintf("RP-LONGPLATE %04d", n), Catalogue: "marlow-orrin",
						Features: map[string]string{"body": "hatch", "gearbox": "manual"},
					},
				})
				if err == nil && n%5 == 0 {
					_, err = clients.Job.ConfirmDiagnosis(as, &jobv1.ConfirmDiagnosisRequest{
						RequestId: fmt.Sprintf("crowd-confirm-%04d", n), Job: opened.GetJob().GetName(), Causes: []string{"coil-4"},
					})
				}
				if err == nil && (n%5 == 1 || n%5 == 2) {
					_, err = clients.Inventory.HoldParts(as, &inventoryv1.HoldPartsRequest{
						RequestId: fmt.Sprintf("crowd-hold-%04d", n), Job: opened.GetJob().GetName(), Partial: true,
						Lines: []*inventoryv1.WantedPart{{Part: "CROWD-1", Quantity: 1}},
					})
				}
				if err != nil {
					t.Errorf("job %d: %v", n, err)
				}
			}
		})
	}
	for n := range jobs {
		numbers <- n
	}
	close(numbers)
	opening.Wait()
}

// With two hundred jobs of the longest names, every page of every role stays
// light, has nothing that runs over its edge, and says how much it leaves out.
func TestDeskHoldsACrowd(t *testing.T) {
	w, _ := openTold(t, middle)
	newBrowser := openBrowsers(t)
	const job = "1"
	w.fillUp(t, crowd)
	for _, p := range []struct {
		person string
		role   identity.Role
		paths  []string
	}{
		{"tomas", identity.Technician, []string{"/work", "/work/" + job, "/work/" + job + "/diagnosis", "/work/" + job + "/tighten"}},
		{"dario", identity.Dispatcher, []string{"/bays", "/bays/" + job, "/jobs", "/jobs?finished=yes", "/jobs/12", "/intake"}},
		{"clara", identity.PartsClerk, []string{"/shelf", "/shelf/find?q=", "/shelf/parts/CROWD-1", "/shelf/kits/" + job}},
		{"ines", identity.Owner, []string{"/figures", "/figures/jobs?figure=present"}},
	} {
		g, b := newGuest(t, w), newBrowser(w.Desk.URL())
		g.signIn(w, p.person, p.role)
		b.signIn(w, p.person, p.role)
		for _, path := range p.paths {
			status, body := g.get(path)
			if status != http.StatusOK || len(body) > crowdPage {
				t.Errorf("%s gives %d with %d bytes, at most %d are wanted", path, status, len(body), crowdPage)
			}
			t.Logf("%s: %d bytes", path, len(body))
		}
		b.open(p.paths[0])
		b.picture("crowd-" + strings.Trim(strings.SplitN(p.paths[0], "?", 2)[0], "/"))
		if n := ask[int](b, `[...document.querySelectorAll(".rows .plate")].filter(p => p.getBoundingClientRect().right > p.nextElementSibling.getBoundingClientRect().left + 1).length`); n > 0 {
			t.Errorf("%s: %d plates lie over what stands beside them", p.paths[0], n)
		}
		if over := ask[[]string](b, `[...document.querySelectorAll("main *")].filter(e => !e.closest("svg, table") && e.getBoundingClientRect().right > document.documentElement.clientWidth + 1).map(e => e.outerHTML.slice(0, 80))`); len(over) > 0 {
			t.Errorf("%s runs over its edge: %s", p.paths[0], strings.Join(over[:1], ""))
		}
	}
}
