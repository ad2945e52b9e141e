package desk

import (
	"errors"
	"net/http"
	"net/url"
	"strings"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/rpc"
)

// problem is an error as a person reads it.
type problem struct {
	Message string
	Details []string
	// Reason is stable, for whoever is asked about it.
	Reason string
	// Again is true where trying again may help.
	Again bool
	// Resend is what was sent, to send it once more under the same request; nil: nothing was.
	Resend url.Values
}

func (p *problem) text() string { return strings.Join(append([]string{p.Message}, p.Details...), "\n") }

// statuses by the kind of a fault.
var statuses = map[fault.Kind]int{
	fault.Invalid:         http.StatusUnprocessableEntity,
	fault.NotFound:        http.StatusNotFound,
	fault.Exists:          http.StatusConflict,
	fault.Precondition:    http.StatusConflict,
	fault.Conflict:        http.StatusConflict,
	fault.Unauthenticated: http.StatusUnauthorized,
	fault.Denied:          http.StatusForbidden,
	fault.Exhausted:       http.StatusTooManyRequests,
	fault.Unavailable:     http.StatusServiceUnavailable,
	fault.Deadline:        http.StatusServiceUnavailable,
}

// problemOf tells an error in words. What was not foreseen is not shown.
func problemOf(err error) (*problem, int) {
	f, ok := errors.AsType[*fault.Error](rpc.FromStatus(err))
	if !ok {
		return &problem{Message: "This page could not be made. Try again; if it stays so, tell the owner.", Reason: "INTERNAL", Again: true}, http.StatusInternalServerError
	}
	p := &problem{Message: sentence(f.Message), Reason: f.Reason}
	for _, field := range f.Fields {
		p.Details = append(p.Details, field.Path+": "+field.Description)
	}
	for _, unmet := range f.Unmet {
		p.Details = append(p.Details, unmet.Description)
	}
	status, known := statuses[f.Kind]
	if !known {
		status = http.StatusInternalServerError
	}
	p.Again = f.Kind == fault.Unavailable || f.Kind == fault.Deadline
	return p, status
}

// sentence begins with a capital and ends with a stop.
func sentence(text string) string {
	if text == "" {
		return ""
	}
	text = strings.ToUpper(text[:1]) + text[1:]
	if !strings.HasSuffix(text, ".") {
		text += "."
	}
	return text
}
