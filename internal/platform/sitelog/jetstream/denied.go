package jetstream

import (
	"context"
	"errors"
	"fmt"
	"regexp"
	"strings"
	"sync"

	"github.com/nats-io/nats.go"
)

// DeniedError says that the server's permissions forbid this user a request,
// which has therefore changed nothing.
type DeniedError struct {
	Subject string // of the request, or of the answers to it
	cause   error
}

// Error implements error.
func (e *DeniedError) Error() string {
	return fmt.Sprintf("the server denies this user the subject %s; permit it as deploy/nats/PERMISSIONS.md says, or give the credentials of a user who may (--nats-creds)", e.Subject)
}

// Unwrap gives what the server said.
func (e *DeniedError) Unwrap() error { return e.cause }

// denials hands what the server denies to the requests that wait. A server
// answers a denied request with nothing, and tells the connection which subject
// it was: without this every denial would look like a server that is away.
type denials struct {
	mu      sync.Mutex
	waiting map[*waiter]struct{}
}

type waiter struct {
	token string // a subject or a stream's name
	end   context.CancelCauseFunc
}

// deniedForm is how the server names what it denied, and whether it was the
// request or the subscription to its answer.
var deniedForm = regexp.MustCompile(`(?i)violation for (publish|subscription) to "([^"]+)"`)

// note takes what the connection reports. A subscription that is denied is the
// one to all answers, so that nobody who waits will get any.
func (d *denials) note(err error) {
	if !errors.Is(err, nats.ErrPermissionViolation) {
		return
	}
	found := deniedForm.FindStringSubmatch(err.Error())
	if found == nil {
		return
	}
	all, subject := !strings.EqualFold(found[1], "publish"), found[2]
	d.mu.Lock()
	defer d.mu.Unlock()
	for w := range d.waiting {
		if all || strings.Contains("."+subject+".", "."+w.token+".") {
			w.end(&DeniedError{Subject: subject, cause: err})
		}
	}
}

// watch runs what sends requests about a token, and ends it when one is denied.
func (d *denials) watch(ctx context.Context, token string, fn func(context.Context) error) error {
	ctx, end := context.WithCancelCause(ctx)
	defer end(nil)
	w := &waiter{token: token, end: end}
	d.mu.Lock()
	d.waiting[w] = struct{}{}
	d.mu.Unlock()
	defer func() {
		d.mu.Lock()
		defer d.mu.Unlock()
		delete(d.waiting, w)
	}()
	err := fn(ctx)
	if denied, ok := errors.AsType[*DeniedError](context.Cause(ctx)); ok && err != nil {
		return denied
	}
	return err
}

// ask runs one request about a token within the time that a request has.
func (l *Log) ask(ctx context.Context, token string, request func(context.Context) error) error {
	ctx, cancel := context.WithTimeout(ctx, l.o.Timeout)
	defer cancel()
	return l.denials.watch(ctx, token, request)
}
