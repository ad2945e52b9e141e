package fault_test

import (
	"errors"
	"fmt"
	"io"
	"testing"
	"time"

	"ramprow/internal/platform/fault"
)

func TestKindAndReasonAreFoundAnywhereInTheChain(t *testing.T) {
	base := fault.New(fault.Conflict, "CONCURRENT_UPDATE", "changed by %s", "somebody else")
	for _, err := range []error{base, fmt.Errorf("open a job: %w", base), errors.Join(io.EOF, base)} {
		if fault.KindOf(err) != fault.Conflict || fault.ReasonOf(err) != "CONCURRENT_UPDATE" {
			t.Errorf("%v: kind %v, reason %q", err, fault.KindOf(err), fault.ReasonOf(err))
		}
	}
}

func TestWhatIsNoFaultIsInternal(t *testing.T) {
	for _, err := range []error{io.EOF, nil} {
		if fault.KindOf(err) != fault.Internal || fault.ReasonOf(err) != "" {
			t.Errorf("%v: kind %v, reason %q", err, fault.KindOf(err), fault.ReasonOf(err))
		}
	}
	if (&fault.Error{}).Kind != fault.Internal {
		t.Error("a forgotten kind must not look like the caller's mistake")
	}
}

func TestBuildersFillTheError(t *testing.T) {
	err := fault.New(fault.Precondition, "JOB_OPEN", "job 17 is still open").
		With("job", "17").
		WithField("items[0].part", "must be %d long", 8).
		WithUnmet(fault.Unmet{Type: "AUDIT_INCOMPLETE", Subject: "sheets/17", Description: "tighten the rest"}).
		About("Job", "jobs/17").
		Retry(time.Second).
		Because(io.ErrUnexpectedEOF)

	if got, want := err.Error(), "job 17 is still open: unexpected EOF"; got != want {
		t.Errorf("text %q, want %q", got, want)
	}
	if !errors.Is(err, io.ErrUnexpectedEOF) {
		t.Error("the cause must stay in the chain")
	}
	if err.Metadata["job"] != "17" || err.RetryAfter != time.Second {
		t.Errorf("metadata %v, retry after %v", err.Metadata, err.RetryAfter)
	}
	if err.Fields[0] != (fault.Field{Path: "items[0].part", Description: "must be 8 long"}) {
		t.Errorf("fields %+v", err.Fields)
	}
	if err.Unmet[0].Subject != "sheets/17" || err.Resource != (fault.Resource{Type: "Job", Name: "jobs/17"}) {
		t.Errorf("unmet %+v, resource %+v", err.Unmet, err.Resource)
	}
}

func TestKindsHaveDistinctNames(t *testing.T) {
	seen := map[string]fault.Kind{}
	for _, kind := range fault.Kinds() {
		if other, taken := seen[kind.String()]; taken {
			t.Errorf("%d and %d are both called %s", kind, other, kind)
		}
		seen[kind.String()] = kind
	}
	if len(seen) != int(fault.Deadline)+1 {
		t.Errorf("%d names for %d kinds", len(seen), int(fault.Deadline)+1)
	}
	if got := fault.Kind(99).String(); got != "KIND_99" {
		t.Errorf("an unknown kind is called %q", got)
	}
}
