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

// errCutOff says that the connection broke before the answer came. None will
// come any more, and the request may have been done.
var errCutOff = errors.New("the connection to the server broke before it answered")

// denials hands what the server denies to the requests that wait. A server
// answers a denied request with nothing, and tells the connection which subject
// it was: without this every denial would look like a server that is away. In the
// same way those are told who wait for an answer on a connection that broke:
// without this they would wait for as long as they have time.
type denials struct {
	mu      sync.Mutex
	waiting map[*waiter]struct{}
}

type waiter struct {
	token string // a subject or a stream's name
	end   context.CancelCauseFunc
	// lasting goes on by itself when the connection is back.
	lasting bool
}

// deniedForm is how the server names what it denied, and whether it was the
// request or the subscription to its answer.
var deniedForm = regexp.MustCompile(`(?i)violation for (publish|subscription) to "([^"]+)"`)

// note takes what the connection reports. A subscription that is denied is the
// one to all answers, so that nobody who waits will get any; but for the one to
// destroyed keys, without which none is kept at hand.
func (d *denials) note(err error) {
	if !errors.Is(err, nats.ErrPermissionViolation) {
		return
	}
	found := deniedForm.FindStringSubmatch(err.Error())
	if found == nil {
		return
	}
	all, subject := !strings.EqualFold(found[1], "publish") && !strings.HasPrefix(found[2], destroyedSubject), found[2]
	d.mu.Lock()
	defer d.mu.Unlock()
	for w := range d.waiting {
		if all || strings.Contains("."+subject+".", "."+w.token+".") {
			w.end(&DeniedError{Subject: subject, cause: err})
		}
	}
}

// cutOff takes that the connection broke.
func (d *denials) cutOff() {
	d.mu.Lock()
	defer d.mu.Unlock()
	for w := range d.waiting {
		if !w.lasting {
			w.end(errCutOff)
		}
	}
}

// watch runs what sends requests about a token, and ends it when one is denied
// or when the connection breaks.
func (d *denials) watch(ctx context.Context, token string, fn func(context.Context) error) error {
	return d.run(ctx, &waiter{token: token}, fn)
}

// watchLasting is for what outlives a connection; only a denial ends it.
func (d *denials) watchLasting(ctx context.Context, token string, fn func(context.Context) error) error {
	return d.run(ctx, &waiter{token: token, lasting: true}, fn)
}

func (d *denials) run(ctx context.Context, w *waiter, fn func(context.Context) error) error {
	ctx, end := context.WithCancelCause(ctx)
	defer end(nil)
	w.end = end
	d.mu.Lock()
	d.waiting[w] = struct{}{}
	d.mu.Unlock()
	defer func() {
		d.mu.Lock()
		defer d.mu.Unlock()
		delete(d.waiting, w)
	}()
	err := fn(ctx)
	cause := context.Cause(ctx)
	if denied, ok := errors.AsType[*DeniedError](cause); ok && err != nil {
		return denied
	}
	if err != nil && errors.Is(cause, errCutOff) {
		return cause
	}
	return err
}

// ask runs one request about a token within the time that a request has.
func (l *Log) ask(ctx context.Context, token string, request func(context.Context) error) error {
	ctx, cancel := context.WithTimeout(ctx, l.o.Timeout)
	defer cancel()
	return l.denials.watch(ctx, token, request)
}
