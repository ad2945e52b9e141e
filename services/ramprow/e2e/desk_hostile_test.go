package e2e_test

import (
	"errors"
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"strings"
	"testing"
	"time"

	"ramprow/internal/platform/identity"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// guest is a program that speaks to the desk as a browser would.
type guest struct {
	t      *testing.T
	url    string
	client *http.Client
}

func newGuest(t *testing.T, w *workshop) *guest {
	t.Helper()
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	return &guest{t: t, url: w.Desk.URL(), client: &http.Client{Jar: jar, Timeout: 20 * time.Second}}
}

func (g *guest) ask(r *http.Request) (int, string) {
	g.t.Helper()
	answer, err := g.client.Do(r)
	if err != nil {
		g.t.Fatal(err)
	}
	body, err := io.ReadAll(answer.Body)
	if err := errors.Join(err, answer.Body.Close()); err != nil {
		g.t.Fatal(err)
	}
	return answer.StatusCode, string(body)
}

func (g *guest) get(path string) (int, string) {
	g.t.Helper()
	return g.ask(g.request(http.MethodGet, path, nil))
}

func (g *guest) post(path string, fields url.Values) (int, string) {
	g.t.Helper()
	return g.ask(g.request(http.MethodPost, path, fields))
}

func (g *guest) request(method, path string, fields url.Values) *http.Request {
	g.t.Helper()
	r, err := http.NewRequestWithContext(g.t.Context(), method, g.url+path, strings.NewReader(fields.Encode()))
	if err != nil {
		g.t.Fatal(err)
	}
	if method == http.MethodPost {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	return r
}

func (g *guest) signIn(w *workshop, person string, role identity.Role) {
	g.t.Helper()
	token, err := w.Token(site, person, time.Hour, role)
	if err != nil {
		g.t.Fatal(err)
	}
	if status, body := g.post("/signin", url.Values{"token": {token}}); status != http.StatusOK {
		g.t.Fatalf("signing in gives %d %s", status, body)
	}
}

// Whoever types another role's address, brings a cookie of his own making, or
// writes a script into a field gets nothing by it.
func TestDeskHostileInput(t *testing.T) {
	w, _ := openTold(t, middle)
	const job = "1"
	g := newGuest(t, w)
	t.Run("nobody", func(t *testing.T) {
		for _, path := range []string{"/work", "/bays", "/shelf", "/jobs/" + job} {
			if _, body := g.get(path); !strings.Contains(body, `name="token"`) {
				t.Errorf("%s is shown to nobody: %s", path, body)
			}
		}
		if status, body := g.post("/signin", url.Values{"token": {"forged"}}); status != http.StatusUnauthorized {
			t.Errorf("a forged token gets %d %s", status, body)
		}
	})
	t.Run("cookie", func(t *testing.T) {
		r := g.request(http.MethodPost, "/jobs/"+job+"/invoice", nil)
		r.AddCookie(&http.Cookie{Name: "ramprow_session", Value: "AAAAAAAAAAAAAAAAAAAAAAAAAA"})
		if status, body := newGuest(t, w).ask(r); status != http.StatusUnauthorized {
			t.Errorf("a cookie of one's own making gets %d %s", status, body)
		}
	})
	t.Run("role", func(t *testing.T) {
		g := newGuest(t, w)
		g.signIn(w, "tomas", identity.Technician)
		for _, path := range []string{"/bays", "/bays/" + job, "/intake", "/shelf", "/shelf/find"} {
			if status, _ := g.get(path); status != http.StatusForbidden {
				t.Errorf("%s is shown to a technician: %d", path, status)
			}
		}
		if status, _ := g.post("/jobs/"+job+"/authority", url.Values{"upto": {"1"}, "currency": {"EUR"}}); status != http.StatusForbidden {
			t.Errorf("a technician authorises: %d", status)
		}
		for _, path := range []string{"/jobs/999", "/work/999", "/work/999/tighten"} {
			if status, body := g.get(path); status != http.StatusNotFound {
				t.Errorf("%s gives %d %s", path, status, body)
			}
		}
		if status, _ := g.get("/work/1%2f..%2f"); status != http.StatusUnprocessableEntity && status != http.StatusNotFound {
			t.Errorf("a strange job's name gives %d", status)
		}
		if status, _ := g.get("/live?topic=jobs/1;drop"); status == http.StatusOK {
			t.Error("a strange topic is followed")
		}
	})
	t.Run("script", func(t *testing.T) {
		g := newGuest(t, w)
		g.signIn(w, "dario", identity.Dispatcher)
		const script = `"><script>alert(1)</script><img src=x onerror=alert(1)>`
		jobs := w.clients(t).Job
		known, err := jobs.GetJob(w.as(t, site, "dario", identity.Dispatcher), &jobv1.GetJobRequest{Job: "jobs/" + job})
		if err != nil {
			t.Fatal(err)
		}
		status, body := g.post("/intake", url.Values{
			"request": {"hostile-0001"}, "catalogue": {known.GetJob().GetVehicle().GetCatalogue()}, "vin": {known.GetJob().GetVehicle().GetVin()},
			"plate": {`"><b>`}, "odometer": {"1"}, "customer": {script}, "contact": {script}, "address": {script}, "complaint": {script},
			"features": {features(known.GetJob().GetVehicle().GetFeatures())},
		})
		if status != http.StatusOK {
			t.Fatalf("the car is not taken in: %d %s", status, body)
		}
		for _, path := range []string{"/jobs", "/jobs/2", "/bays", "/shelf/find?q=" + url.QueryEscape(script)} {
			if _, body := g.get(path); strings.Contains(body, "<script>alert") || strings.Contains(body, "<img src=x") || strings.Contains(body, `"><b>`) {
				t.Errorf("%s carries what was typed as it is", path)
			}
		}
		if status, _ := g.post("/intake", url.Values{"complaint": {strings.Repeat("x", 1<<20)}}); status < 400 {
			t.Errorf("a megabyte is taken: %d", status)
		}
	})
}

func features(m map[string]string) string {
	var lines []string
	for name, value := range m {
		lines = append(lines, name+"="+value)
	}
	return strings.Join(lines, "\n")
}

// Losing Redis means signing in again, and nothing more.
func TestDeskAfterRedisIsLost(t *testing.T) {
	w := openWorkshop(t, t.TempDir(), nil)
	g := newGuest(t, w)
	g.signIn(w, "dario", identity.Dispatcher)
	if status, body := g.get("/jobs"); status != http.StatusOK || strings.Contains(body, `name="token"`) {
		t.Fatalf("not signed in: %d", status)
	}
	// A Redis that knows nothing, as after a loss: the cookie is the browser's own matter.
	w = openWorkshop(t, t.TempDir(), nil)
	g.url = w.Desk.URL()
	if _, body := g.get("/jobs"); !strings.Contains(body, `name="token"`) {
		t.Errorf("still signed in: %s", body)
	}
	g.signIn(w, "dario", identity.Dispatcher)
	if status, body := g.get("/jobs"); status != http.StatusOK || strings.Contains(body, `name="token"`) {
		t.Errorf("cannot sign in again: %d", status)
	}
}
