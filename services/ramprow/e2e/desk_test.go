package e2e_test

import (
	"context"
	"errors"
	"io"
	"testing"
	"time"

	"ramprow/internal/platform/identity"
	"ramprow/services/ramprow/story"
)

var errEnough = errors.New("enough of the story")

// during tells the story up to a place in it, when a job is open in every room.
func during(t *testing.T, w *workshop, place func(*story.Config, func(context.Context) error), try func(job string)) {
	t.Helper()
	tried := false
	c := story.Config{
		Clients: w.clients(t),
		Token: func(person string, role identity.Role) (string, error) {
			return w.Token(site, person, time.Hour, role)
		},
		Out: io.Discard,
		Now: w.now,
	}
	place(&c, func(context.Context) error {
		tried = true
		try("1")
		return errEnough
	})
	if _, err := story.Tell(t.Context(), c); !errors.Is(err, errEnough) || !tried {
		t.Fatalf("the story went another way: %v", err)
	}
}

func inTheMiddle(c *story.Config, try func(context.Context) error) { c.Halfway = try }

func atTheFirstJoint(c *story.Config, try func(context.Context) error) { c.Tightening = try }

// Every page is there for the person whose page it is, without a serious fault
// of accessibility, and is pictured at two sizes.
func TestDeskPages(t *testing.T) {
	w := openWorkshop(t, t.TempDir(), nil)
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
		{"dario", identity.Dispatcher, map[string]string{"bays": "/bays", "move": "/bays/1", "jobs": "/jobs", "job": "/jobs/1", "intake": "/intake"}},
		{"ines", identity.Owner, map[string]string{"figures": "/figures", "visits": "/figures/jobs?figure=present", "nofigures": "/figures?from=2020-01-01&to=2020-03-01", "stock": "/figures/stock", "nostock": "/figures/stock?from=2020-01-01&to=2020-03-01"}},
		{"clara", identity.PartsClerk, map[string]string{"shelf": "/shelf", "find": "/shelf/find?q=G", "denied": "/bays", "unknown": "/nowhere"}},
	}
	during(t, w, inTheMiddle, func(string) {
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
	})
}

// Two people see each other's work: a step that one finishes goes on at the other's page by itself.
func TestDeskIsLive(t *testing.T) {
	w := openWorkshop(t, t.TempDir(), nil)
	newBrowser := openBrowsers(t)
	during(t, w, inTheMiddle, func(job string) {
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
	})
}
