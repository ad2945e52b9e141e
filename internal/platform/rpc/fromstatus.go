package rpc

import (
	"errors"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"ramprow/internal/platform/fault"
)

// FromStatus gives the fault that a gRPC error carries, or nil for nil. The
// error itself stays beneath, so status.Code works on the result. An error that
// carries no details, as the transport's do, becomes a fault of the code's kind.
func FromStatus(err error) error {
	if err == nil {
		return nil
	}
	if _, already := errors.AsType[*fault.Error](err); already {
		return err
	}
	s, ok := status.FromError(err)
	if !ok {
		// Not gRPC's error: FromContextError knows the two that contexts make.
		s = status.FromContextError(err)
	}
	f := fault.New(kindOf(s.Code()), "", "%s", s.Message()).Retelling(err)
	for _, detail := range s.Details() {
		absorb(f, detail)
	}
	if f.Reason == "" {
		undetailed(f)
	}
	return f
}

func kindOf(code codes.Code) fault.Kind {
	for kind, c := range kindCodes {
		if c == code {
			return kind
		}
	}
	if code == codes.OutOfRange {
		return fault.Invalid
	}
	return fault.Internal // UNKNOWN and DATA_LOSS
}

// undetailed fills in what a bare status lacks. The transport's own words, as
// for a connection that was refused, are for the log.
func undetailed(f *fault.Error) {
	f.Reason = f.Kind.String()
	if f.Kind == fault.Unavailable {
		f.Message = "the service cannot be reached just now; try again in a moment"
	}
	if f.Kind == fault.Deadline {
		f.Message = "there was no answer in time; ask for the present state before you try again"
	}
}

// absorb takes one detail over into the fault.
func absorb(f *fault.Error, detail any) {
	switch d := detail.(type) {
	case *errdetails.ErrorInfo:
		f.Reason = d.GetReason()
		if len(d.GetMetadata()) > 0 {
			f.Metadata = d.GetMetadata()
		}
	case *errdetails.LocalizedMessage:
		f.Message = d.GetMessage()
	case *errdetails.BadRequest:
		for _, v := range d.GetFieldViolations() {
			f.Fields = append(f.Fields, fault.Field{Path: v.GetField(), Description: v.GetDescription()})
		}
	case *errdetails.PreconditionFailure:
		for _, v := range d.GetViolations() {
			f.Unmet = append(f.Unmet, fault.Unmet{Type: v.GetType(), Subject: v.GetSubject(), Description: v.GetDescription()})
		}
	case *errdetails.ResourceInfo:
		f.Resource = fault.Resource{Type: d.GetResourceType(), Name: d.GetResourceName()}
	case *errdetails.RetryInfo:
		f.RetryAfter = d.GetRetryDelay().AsDuration()
	}
}
