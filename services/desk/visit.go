package desk

import (
	"bytes"
	"context"
	"errors"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"

	"go.opentelemetry.io/otel/trace"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/rpc"
	"ramprow/internal/platform/sitelog"
	commonv1 "ramprow/proto/ramprow/common/v1"
)

const (
	callTime = 10 * time.Second
	maxForm  = 64 << 10
)

// visit is one request being answered.
type visit struct {
	d   *Desk
	w   http.ResponseWriter
	r   *http.Request
	ctx context.Context //nolint:containedctx // a visit is as short as its request
	who *session        // nil before signing in
}

// action answers a visit.
type action func(*visit) error

// open serves people who are not signed in.
func (d *Desk) open(act action) http.Handler { return d.serve(act, nil, false) }

// closed serves those who are signed in and have one of the roles; none named: everybody.
func (d *Desk) closed(act action, roles ...identity.Role) http.Handler {
	return d.serve(act, roles, true)
}

func (d *Desk) serve(act action, roles []identity.Role, signedIn bool) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		ctx, cancel := context.WithTimeout(r.Context(), callTime)
		defer cancel()
		ctx, span := d.span(ctx, "page "+r.Pattern)
		defer span.End()
		v := &visit{d: d, w: w, r: r, ctx: ctx}
		if err := v.answer(act, roles, signedIn); err != nil {
			noteFailure(span, err)
			v.fail(err)
		}
	})
}

func (v *visit) answer(act action, roles []identity.Role, signedIn bool) error {
	if signedIn {
		if err := v.admit(roles); err != nil {
			return err
		}
	}
	if v.r.Method == http.MethodPost {
		v.r.Body = http.MaxBytesReader(v.w, v.r.Body, maxForm)
		if err := v.r.ParseForm(); err != nil {
			return fault.New(fault.Invalid, "FORM_UNREADABLE", "what was sent cannot be read; go back and send it again").Because(err)
		}
	}
	return act(v)
}

// admit finds out who it is, and whether this page is theirs.
func (v *visit) admit(roles []identity.Role) error {
	who, err := v.d.sessions.find(v.r)
	if err != nil {
		return err
	}
	v.who = who
	noteWho(trace.SpanFromContext(v.ctx), who.Identity)
	v.ctx = rpc.WithToken(v.ctx, who.token)
	for _, role := range roles {
		if who.Has(role) {
			return nil
		}
	}
	if len(roles) > 0 {
		return fault.New(fault.Denied, "PAGE_DENIED", "this page belongs to another role; sign in as somebody who has it")
	}
	return nil
}

// form gives a field of what was sent, without spaces at its ends.
func (v *visit) form(name string) string { return strings.TrimSpace(v.r.PostForm.Get(name)) }

// requestID gives the id that the page made for what is sent: the same form sent
// twice is then done once.
func (v *visit) requestID() string { return v.form("request") }

// at gives the revision that the page must show: what the person did last, or
// what the page was told of. Without one, some milliseconds old will do.
func (v *visit) at() uint64 {
	revision, err := strconv.ParseUint(v.r.URL.Query().Get("at"), 10, 64)
	if err != nil {
		return 0
	}
	return revision
}

// job gives the name of the job in the path.
func (v *visit) job() string { return "jobs/" + v.r.PathValue("job") }

func (v *visit) whole(name string) (int64, error) {
	n, err := strconv.ParseInt(v.form(name), 10, 64)
	if err != nil {
		return 0, badField(name, "must be a whole number")
	}
	return n, nil
}

// decimal reads a number as people write it: with a point or a comma.
func (v *visit) decimal(name string) (float64, error) {
	text := v.form(name)
	if text == "" {
		return 0, nil
	}
	n, err := strconv.ParseFloat(strings.Replace(text, ",", ".", 1), 64)
	if err != nil {
		return 0, badField(name, "must be a number, as 24 or 24.5")
	}
	return n, nil
}

// moment reads what a datetime-local field sends; no text is the zero time.
func (v *visit) moment(name string) (time.Time, error) {
	return v.momentOf(name, v.form(name))
}

func (v *visit) momentOf(name, text string) (time.Time, error) {
	if text == "" {
		return time.Time{}, nil
	}
	return v.d.readMoment(name, text)
}

func (d *Desk) readMoment(name, text string) (time.Time, error) {
	at, err := time.ParseInLocation("2006-01-02T15:04", text, d.Zone)
	if err != nil {
		return time.Time{}, badField(name, "must be a day and a time")
	}
	return at, nil
}

func badField(name, description string) error {
	return fault.New(fault.Invalid, "FIELD_INVALID", "correct the named field and send it again").WithField(name, "%s", description)
}

// frame is what every page shows around its own view.
type frame struct {
	View any
	Path string
	Who  *session
	Page string
	// Problem is shown above the page; nil: all is well.
	Problem *problem
	// Done says in words what was just done.
	Done string
}

func (v *visit) render(page string, view any) error {
	return v.renderStatus(http.StatusOK, page, view, nil)
}

func (v *visit) renderStatus(status int, page string, view any, p *problem) error {
	f := frame{
		View: view, Path: v.refreshPath(), Who: v.who, Page: page, Problem: p, Done: v.d.words.done(v.r.URL.Query().Get("done")),
	}
	var text bytes.Buffer
	if err := v.d.pages[page].ExecuteTemplate(&text, "frame", f); err != nil {
		return err
	}
	v.w.Header().Set("Content-Type", "text/html; charset=utf-8")
	v.w.Header().Set("Cache-Control", "no-store")
	v.w.WriteHeader(status)
	v.write(text.Bytes())
	return nil
}

// write sends the body of an answer. If it fails the browser is gone, and there
// is nobody left to whom another page could say so.
func (v *visit) write(body []byte) {
	if _, err := v.w.Write(body); err != nil {
		v.d.Logger.DebugContext(v.ctx, "a browser left before its page", "path", v.r.URL.Path, "error", err)
	}
}

// refreshPath is the page's address without what belongs to one look at it.
func (v *visit) refreshPath() string {
	u := *v.r.URL
	q := u.Query()
	q.Del("done")
	q.Del("at")
	q.Del("jobs-at")
	u.RawQuery = q.Encode()
	return u.RequestURI()
}

// goTo leads the browser to a page that shows what came of it.
func (v *visit) goTo(path string) error {
	http.Redirect(v.w, v.r, path, http.StatusSeeOther)
	return nil
}

// done leads to a page and says there what was done; the page shows it.
func (v *visit) done(path, what string, receipt *commonv1.Receipt) error {
	revision := strconv.FormatUint(receipt.GetRevision(), 10)
	if v.r.Header.Get("X-Queued") != "" { // desk.js sends what waited, and only wants to know that it arrived.
		v.w.Header().Set("X-Revision", revision)
		v.w.WriteHeader(http.StatusNoContent)
		return nil
	}
	mark := "?"
	if strings.Contains(path, "?") {
		mark = "&"
	}
	return v.goTo(path + mark + "done=" + url.QueryEscape(what) + "&at=" + revision)
}

// fail shows what went wrong, and what to do.
func (v *visit) fail(err error) {
	if errors.Is(err, errSignedOut) && v.r.Method == http.MethodGet && v.r.URL.Path != "/live" {
		http.Redirect(v.w, v.r, "/signin", http.StatusSeeOther)
		return
	}
	p, status := problemOf(err)
	if status == http.StatusInternalServerError {
		v.d.Logger.ErrorContext(v.ctx, "a page failed", "path", v.r.URL.Path, "error", err)
	}
	if v.r.Header.Get("X-Queued") != "" {
		v.w.Header().Set("Content-Type", "text/plain; charset=utf-8")
		v.w.WriteHeader(status)
		v.write([]byte(p.text()))
		return
	}
	switch p.Reason { // the services' own words are for programs that send again
	case sitelog.ReasonLogUnavailable:
		p.Message = v.d.words.say("problem.nolog")
	case fault.Deadline.String():
		p.Message = v.d.words.say("problem.late")
	default:
	}
	if p.Again && v.who != nil && v.r.Method == http.MethodPost {
		p.Resend = v.r.PostForm
	}
	if err := v.renderStatus(status, "problem", nil, p); err != nil {
		v.d.Logger.ErrorContext(v.ctx, "a page failed", "path", v.r.URL.Path, "error", err)
	}
}
