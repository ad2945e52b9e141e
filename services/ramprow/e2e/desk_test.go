package e2e_test

import (
	"testing"

	"ramprow/internal/platform/identity"
)

// Every page is there for the person whose page it is, without a serious fault
// of accessibility, and is pictured at two sizes.
func TestDeskPages(t *testing.T) {
	w, _ := openTold(t, middle)
	newBrowser := openBrowsers(t)
	visitor := newBrowser(w.Desk.URL())
	visitor.open("/signin")
	visitor.accessible("signin")
	visitor.picture("signin")

	pages := []struct {
		person string
		role   identity.Role
		paths  map[string]string
	}{
		{"tomas", identity.Technician, map[string]string{"work": "/work", "bench": "/work/1", "tighten": "/work/1/tighten"}},
		{"ines", identity.Owner, map[string]string{"again": "/again"}},
		{"dario", identity.Dispatcher, map[string]string{"bays": "/bays", "move": "/bays/1", "jobs": "/jobs", "job": "/jobs/1", "intake": "/intake", "capacity": "/bays/capacity"}},
		{"ines", identity.Owner, map[string]string{"figures": "/figures", "visits": "/figures/jobs?figure=present", "nofigures": "/figures?from=2020-01-01&to=2020-03-01", "stock": "/figures/stock", "nostock": "/figures/stock?from=2020-01-01&to=2020-03-01"}},
		{"clara", identity.PartsClerk, map[string]string{"shelf": "/shelf", "find": "/shelf/find?q=G", "denied": "/bays", "unknown": "/nowhere"}},
	}
	for _, p := range pages {
		b := newBrowser(w.Desk.URL())
		b.signIn(w, p.person, p.role)
		for name, path := range p.paths {
			b.open(path)
			if broken := ask[bool](b, `document.body.dataset.page === "problem"`); broken != (name == "denied" || name == "unknown") {
				t.Errorf("%s says %q", path, b.text(".problem"))
			}
			b.accessible(name)
			b.picture(name)
		}
	}
}

// Two people see each other's work: a step that one finishes goes on at the other's page by itself.
func TestDeskIsLive(t *testing.T) {
	w, _ := openTold(t, middle)
	newBrowser := openBrowsers(t)
	const job = "1"
	technician, dispatcher := newBrowser(w.Desk.URL()), newBrowser(w.Desk.URL())
	technician.signIn(w, "tomas", identity.Technician)
	dispatcher.signIn(w, "dario", identity.Dispatcher)
	dispatcher.open("/jobs/" + job)
	technician.open("/work/" + job)
	step := technician.text("#now")
	technician.click("#start")
	technician.await(`!!document.querySelector("#finish")`)
	technician.enter("#tray", "T-7")
	technician.click("#finish")
	technician.await(`document.querySelector("#now")?.innerText != ` + quoted(step))
	if got := technician.text("#now"); got == step {
		t.Errorf("the step is still %q", got)
	}
}
