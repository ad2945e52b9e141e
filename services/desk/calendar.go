package desk

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"net/http"
	"strings"
	"time"

	"ramprow/internal/baycalendar"
	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/rpc"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// calendarLife is how long an address that this page shows is good for, if it is not renewed before.
const calendarLife = 366 * 24 * time.Hour

// sendCalendar serves a calendar to whoever knows its address: no cookie, no page, and nothing of the address in a log.
func (d *Desk) sendCalendar(w http.ResponseWriter, r *http.Request) {
	ctx, cancel := context.WithTimeout(r.Context(), callTime)
	defer cancel()
	w.Header().Set("Cache-Control", "private, no-cache")
	made, tag, err := d.calendar(ctx, r.PathValue("file"))
	switch {
	case err == nil:
	case fault.KindOf(err) == fault.Unauthenticated || fault.KindOf(err) == fault.Denied || fault.KindOf(err) == fault.NotFound:
		http.Error(w, "there is no calendar at this address; ask the dispatcher for a new one", http.StatusNotFound)
		return
	default:
		d.Logger.ErrorContext(ctx, "a calendar failed", "error", err)
		w.Header().Set("Retry-After", "60")
		http.Error(w, "the calendar cannot be read now; try again", http.StatusServiceUnavailable)
		return
	}
	w.Header().Set("ETag", tag)
	if unchanged(r.Header.Get("If-None-Match"), tag) {
		w.WriteHeader(http.StatusNotModified)
		return
	}
	w.Header().Set("Content-Type", "text/calendar; charset=utf-8")
	// If it fails, the reader is gone. It is no page: its type says so, and nobody may guess another.
	_, _ = w.Write(made) //nolint:gosec // as said
}

// calendar makes the file of an address, with a tag that changes when a booking does.
func (d *Desk) calendar(ctx context.Context, file string) ([]byte, string, error) {
	token, ok := strings.CutSuffix(file, baycalendar.Suffix)
	id, err := d.Verifier.Verify(token)
	if err != nil {
		return nil, "", err
	}
	resource, _, program := id.OfCalendar()
	if !ok || !program {
		return nil, "", fault.New(fault.NotFound, "CALENDAR_UNKNOWN", "this is no address of a calendar")
	}
	resp, err := d.Services.Scheduling.GetCalendar(rpc.WithToken(ctx, token), &schedulingv1.GetCalendarRequest{Resource: resource})
	if err != nil {
		return nil, "", err
	}
	c := baycalendar.Of(resp.GetLanes(), "", "")
	c.Name = resp.GetResource().GetTitle()
	c.Events = append(c.Events, baycalendar.Away(resp.GetResource(), resp.GetAway())...)
	var text, told bytes.Buffer
	if err := c.Write(&told); err != nil {
		return nil, "", err
	}
	c.Stamp = d.Now()
	if err := c.Write(&text); err != nil {
		return nil, "", err
	}
	sum := sha256.Sum256(told.Bytes())
	// A weak tag: the time at which it was written differs (RFC 9110, 8.8.1).
	return text.Bytes(), `W/"` + hex.EncodeToString(sum[:16]) + `"`, nil
}

// unchanged compares weakly, as If-None-Match is to be compared (RFC 9110, 13.1.2).
func unchanged(header, tag string) bool {
	for one := range strings.SplitSeq(header, ",") {
		if one = strings.TrimSpace(one); one == "*" || strings.TrimPrefix(one, "W/") == strings.TrimPrefix(tag, "W/") {
			return true
		}
	}
	return false
}

// calendarsView is every calendar with its address.
type calendarsView struct {
	Rows []calendarRow
	// Signs says that this desk can make addresses.
	Signs bool
}

type calendarRow struct {
	*schedulingv1.Resource

	Address string
}

// showCalendars gives the dispatcher the addresses to pass on.
func (d *Desk) showCalendars(v *visit) error {
	view := calendarsView{Signs: d.People != nil}
	for _, kind := range []schedulingv1.ResourceKind{schedulingv1.ResourceKind_RESOURCE_KIND_BAY, schedulingv1.ResourceKind_RESOURCE_KIND_PERSON} {
		request := &schedulingv1.ListResourcesRequest{PageSize: pageSize, Kind: kind, MinRevision: v.at()}
		for more := true; more; more = request.GetPageToken() != "" {
			r, err := d.Services.Scheduling.ListResources(v.ctx, request)
			if err != nil {
				return err
			}
			for _, resource := range r.GetResources() {
				if err := view.add(v, resource); err != nil {
					return err
				}
			}
			request.PageToken = r.GetNextPageToken()
		}
	}
	return v.render("calendars", view)
}

func (view *calendarsView) add(v *visit, r *schedulingv1.Resource) error {
	if r.GetRetired() {
		return nil
	}
	row := calendarRow{Resource: r}
	if view.Signs {
		id := identity.ForCalendar(v.who.Site, r.GetName(), r.GetCalendar())
		token, err := v.d.People.signer.Issue(id, calendarLife, v.d.Now())
		if err != nil {
			return err
		}
		row.Address = baycalendar.Address(v.origin(), token)
	}
	view.Rows = append(view.Rows, row)
	return nil
}

// origin is how the browser reached this desk.
func (v *visit) origin() string {
	if v.d.Secure || v.r.TLS != nil {
		return "https://" + v.r.Host
	}
	return "http://" + v.r.Host
}

func (d *Desk) renewCalendar(v *visit) error {
	r, err := d.Services.Scheduling.RenewCalendar(v.ctx, &schedulingv1.RenewCalendarRequest{RequestId: v.requestID(), Resource: v.form("resource")})
	if err != nil {
		return err
	}
	return v.done("/bays/calendars", "calendar", r.GetReceipt())
}
