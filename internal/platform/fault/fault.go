// Package fault is the one error type that crosses layers: a small closed set
// of kinds, a stable reason for programs, and a text that tells a person what
// to do next. Engines and decide functions return their own typed errors or a
// *fault.Error; internal/platform/rpc maps kinds to gRPC statuses in one table
// and back again on the client, so no caller ever matches text.
package fault

import (
	"errors"
	"fmt"
	"time"
)

// Kind says what sort of thing went wrong, and so what a caller can do.
type Kind int

// The kinds. The zero value is Internal, so a forgotten kind never looks like
// the caller's mistake.
const (
	Internal        Kind = iota // a defect or a broken machine; the text shown outside is neutral
	Invalid                     // the request itself is malformed; Fields says where
	NotFound                    // no such thing in this site
	Exists                      // the thing is already there
	Precondition                // the request is fine, the present state forbids it; Unmet says why
	Conflict                    // somebody else changed it meanwhile: read again, decide again
	Unauthenticated             // no token, or one that proves nothing
	Denied                      // the token's roles do not allow it
	Exhausted                   // a bound is reached; later may work
	Unavailable                 // something this depends on is away; RetryAfter may say when
	Unimplemented               // this build does not know the method
	Canceled                    // the caller went away
	Deadline                    // the caller's time was up
)

// Field is one malformed part of a request.
type Field struct {
	Path        string // as in vehicle.vin or codes[2].code
	Description string
}

// Unmet is one condition that the present state does not meet.
type Unmet struct {
	Type        string // stable, UPPER_SNAKE
	Subject     string // what it is about, as in sheets/17/joints/cam-cover
	Description string // what to do, and who can
}

// Resource is the thing that is missing or already there.
type Resource struct {
	Type string // as in Job or Part
	Name string // as in jobs/17
}

// Error is the typed error. Reason is UPPER_SNAKE, stable for ever, and unique
// per situation; Metadata repeats whatever is variable in Message.
type Error struct {
	Kind     Kind
	Reason   string
	Message  string
	Metadata map[string]string
	Fields   []Field
	Unmet    []Unmet
	// Resource goes with NotFound and Exists.
	Resource   Resource
	RetryAfter time.Duration
	cause      error
	retold     bool // the cause says the same in other words
}

// New makes an error of a kind with a reason and a formatted message.
func New(kind Kind, reason, format string, args ...any) *Error {
	return &Error{Kind: kind, Reason: reason, Message: fmt.Sprintf(format, args...)}
}

// Error implements error.
func (e *Error) Error() string {
	if e.cause != nil && !e.retold {
		return e.Message + ": " + e.cause.Error()
	}
	return e.Message
}

// Unwrap gives the error that lies beneath, if any.
func (e *Error) Unwrap() error { return e.cause }

// Because keeps the error that lies beneath, for the log; it is not shown outside.
func (e *Error) Because(err error) *Error {
	e.cause = err
	return e
}

// Retelling keeps an error that this one says in other words: errors.As finds
// it, and the text does not repeat it.
func (e *Error) Retelling(err error) *Error {
	e.cause, e.retold = err, true
	return e
}

// With adds one entry of metadata.
func (e *Error) With(key, value string) *Error {
	if e.Metadata == nil {
		e.Metadata = map[string]string{}
	}
	e.Metadata[key] = value
	return e
}

// WithField adds one malformed field.
func (e *Error) WithField(path, format string, args ...any) *Error {
	e.Fields = append(e.Fields, Field{Path: path, Description: fmt.Sprintf(format, args...)})
	return e
}

// WithUnmet adds one unmet condition.
func (e *Error) WithUnmet(u Unmet) *Error {
	e.Unmet = append(e.Unmet, u)
	return e
}

// About names the thing that is missing or already there.
func (e *Error) About(resourceType, name string) *Error {
	e.Resource = Resource{Type: resourceType, Name: name}
	return e
}

// Retry says when trying again may help.
func (e *Error) Retry(after time.Duration) *Error {
	e.RetryAfter = after
	return e
}

// Kinds lists every kind.
func Kinds() []Kind {
	return []Kind{
		Internal, Invalid, NotFound, Exists, Precondition, Conflict, Unauthenticated,
		Denied, Exhausted, Unavailable, Unimplemented, Canceled, Deadline,
	}
}

// String gives the kind's name as in UPPER_SNAKE reasons.
func (k Kind) String() string {
	switch k {
	case Internal:
		return "INTERNAL"
	case Invalid:
		return "INVALID"
	case NotFound:
		return "NOT_FOUND"
	case Exists:
		return "EXISTS"
	case Precondition:
		return "PRECONDITION"
	case Conflict:
		return "CONFLICT"
	case Unauthenticated:
		return "UNAUTHENTICATED"
	case Denied:
		return "DENIED"
	case Exhausted:
		return "EXHAUSTED"
	case Unavailable:
		return "UNAVAILABLE"
	case Unimplemented:
		return "UNIMPLEMENTED"
	case Canceled:
		return "CANCELED"
	case Deadline:
		return "DEADLINE"
	default:
		return fmt.Sprintf("KIND_%d", int(k))
	}
}

// KindOf gives the kind of an error anywhere in its chain; Internal if it has none.
func KindOf(err error) Kind {
	if e, ok := errors.AsType[*Error](err); ok {
		return e.Kind
	}
	return Internal
}

// ReasonOf gives the stable reason of an error anywhere in its chain, or "".
func ReasonOf(err error) string {
	if e, ok := errors.AsType[*Error](err); ok {
		return e.Reason
	}
	return ""
}
