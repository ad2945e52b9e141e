package e2e_test

import (
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"ramprow/internal/baycalendar"
	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/identity"
	jobv1 "ramprow/proto/ramprow/job/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// A calendar's address needs no cookie and reads that calendar alone, tells when nothing changed, says nothing of whose
// car it is, and ends when it is renewed or when the person leaves.
func TestDeskServesCalendars(t *testing.T) {
	w, _ := openTold(t, middle)
	clients := w.clients(t)
	dispatcher := w.as(t, site, "dario", identity.Dispatcher)
	booking, err := clients.Scheduling.GetBooking(dispatcher, &schedulingv1.GetBookingRequest{Job: "jobs/1"})
	if err != nil {
		t.Fatal(err)
	}
	person, bay := booking.GetBooking().GetTechnician(), booking.GetBooking().GetBay()

	shown := newGuest(t, w)
	shown.signIn(w, "dario", identity.Dispatcher)
	_, page := shown.get("/bays/calendars")
	reader := newGuest(t, w)
	for _, resource := range []string{bay, person} {
		status, text := reader.get(addressOf(t, page, resource))
		if status != http.StatusOK || !strings.Contains(text, "SUMMARY:Job 1\r\n") || !strings.HasPrefix(text, "BEGIN:VCALENDAR\r\n") {
			t.Errorf("%s: %d %s", resource, status, text)
		}
		if title := booking.GetBooking().GetTitle(); title == "" || strings.Contains(text, title) || strings.Contains(text, booking.GetBooking().GetReason()) {
			t.Errorf("%s tells %q or why: %s", resource, title, text)
		}
	}

	path := addressOf(t, page, person)
	_, tag := headOf(t, reader, path, "")
	if status, _ := headOf(t, reader, path, `"other", `+tag); tag == "" || status != http.StatusNotModified {
		t.Errorf("with the tag %s: %d", tag, status)
	}
	if status, _ := headOf(t, reader, path, `W/"other"`); status != http.StatusOK {
		t.Errorf("with another tag: %d", status)
	}

	token := strings.TrimSuffix(strings.TrimPrefix(path, baycalendar.Path), baycalendar.Suffix)
	owners, err := w.Token(site, "ines", time.Hour, identity.Owner)
	if err != nil {
		t.Fatal(err)
	}
	mine := w.as(t, site, person+".0", identity.Calendar)
	for name, wrong := range map[string]string{
		"a changed secret":       path[:len(path)-8] + "AAAA" + baycalendar.Suffix,
		"no secret":              baycalendar.Path + "anna" + baycalendar.Suffix,
		"a person's token":       baycalendar.Path + owners + baycalendar.Suffix,
		"without the ending":     baycalendar.Path + token,
		"the address of nobody":  baycalendar.Path + calendarToken(t, w, "people/nobody.0") + baycalendar.Suffix,
		"an address to be given": baycalendar.Path + calendarToken(t, w, person+".1") + baycalendar.Suffix,
	} {
		if status, text := reader.get(wrong); status != http.StatusNotFound || strings.Contains(text, "VCALENDAR") {
			t.Errorf("%s: %d %s", name, status, text)
		}
	}
	if _, err := clients.Scheduling.GetCalendar(mine, &schedulingv1.GetCalendarRequest{Resource: bay}); fault.KindOf(err) != fault.Denied {
		t.Errorf("another's calendar: %v", err)
	}
	if _, err := clients.Scheduling.ListBookings(mine, &schedulingv1.ListBookingsRequest{}); fault.KindOf(err) != fault.Denied {
		t.Errorf("the bookings: %v", err)
	}
	if _, err := clients.Job.ListJobs(mine, &jobv1.ListJobsRequest{}); fault.KindOf(err) != fault.Denied {
		t.Errorf("the jobs: %v", err)
	}
	if status, _ := reader.post("/signin", url.Values{"token": {token}}); status != http.StatusForbidden {
		t.Errorf("signing in with an address: %d", status)
	}

	if status, text := shown.post("/bays/calendars", url.Values{"request": {"renew-once-1"}, "resource": {person}}); status != http.StatusOK {
		t.Fatalf("renewing gives %d %s", status, text)
	} else {
		page = text
	}
	if status, _ := reader.get(path); status != http.StatusNotFound {
		t.Errorf("the old address: %d", status)
	}
	if status, text := reader.get(addressOf(t, page, person)); status != http.StatusOK {
		t.Errorf("the new address: %d %s", status, text)
	}
}

func calendarToken(t *testing.T, w *workshop, person string) string {
	t.Helper()
	token, err := w.Token(site, person, time.Hour, identity.Calendar)
	if err != nil {
		t.Fatal(err)
	}
	return token
}

// addressOf finds the path of a resource's calendar on the page of calendars.
func addressOf(t *testing.T, page, resource string) string {
	t.Helper()
	row := regexp.MustCompile(`<small>` + regexp.QuoteMeta(resource) + `</small></td><td><a href="http://[^/]+(/calendar/[^"]+\.ics)"`)
	found := row.FindStringSubmatch(page)
	if found == nil {
		t.Fatalf("no address of %s on %s", resource, page)
	}
	return found[1]
}

func headOf(t *testing.T, g *guest, path, tag string) (status int, newTag string) {
	t.Helper()
	r := g.request(http.MethodGet, path, nil)
	if tag != "" {
		r.Header.Set("If-None-Match", tag)
	}
	answer, err := g.client.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	if err := answer.Body.Close(); err != nil {
		t.Fatal(err)
	}
	return answer.StatusCode, answer.Header.Get("ETag")
}
