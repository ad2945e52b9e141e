package rpc

import (
	"maps"
	"slices"
	"strings"
	"unicode/utf8"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/protoadapt"
	"google.golang.org/protobuf/types/known/durationpb"

	"ramprow/internal/platform/fault"
)

// domain stands in every ErrorInfo.
const domain = "ramprow"

// A status travels in the trailer, for which clients in other languages reserve
// as little as 8 KiB, and in base64: so its size is bounded. No text of ours
// comes near the bounds; echoed input may.
const (
	maxStatusBytes = 5 << 10
	maxListed      = 16
	maxTextBytes   = 300
)

// kindCodes is the one table between kinds and codes.
//
//nolint:gochecknoglobals // a constant table
var kindCodes = map[fault.Kind]codes.Code{
	fault.Internal:        codes.Internal,
	fault.Invalid:         codes.InvalidArgument,
	fault.NotFound:        codes.NotFound,
	fault.Exists:          codes.AlreadyExists,
	fault.Precondition:    codes.FailedPrecondition,
	fault.Conflict:        codes.Aborted,
	fault.Unauthenticated: codes.Unauthenticated,
	fault.Denied:          codes.PermissionDenied,
	fault.Exhausted:       codes.ResourceExhausted,
	fault.Unavailable:     codes.Unavailable,
	fault.Unimplemented:   codes.Unimplemented,
	fault.Canceled:        codes.Canceled,
	fault.Deadline:        codes.DeadlineExceeded,
}

// ToStatus gives the status that a fault crosses the network as. What lies
// beneath the fault stays here.
func ToStatus(f *fault.Error) *status.Status {
	code, known := kindCodes[f.Kind]
	if !known {
		code = codes.Internal
	}
	st := status.New(code, bounded(f.Message))
	// Long lists are cut until the whole fits; with one entry each it always does.
	for listed := maxListed; listed > 0; listed /= 2 {
		detailed, err := st.WithDetails(details(f, listed)...)
		if err != nil { // only for the code OK, which is no kind's
			return st
		}
		if listed == 1 || proto.Size(detailed.Proto()) <= maxStatusBytes {
			return detailed
		}
	}
	return st
}

// details lists each kind of detail at most once, ErrorInfo always first.
func details(f *fault.Error, listed int) []protoadapt.MessageV1 {
	list := []protoadapt.MessageV1{errorInfo(f, listed)}
	if f.Message != "" {
		// gRPC's client may put words of its own before a status's message, as
		// after retries; this one arrives as it was written.
		list = append(list, &errdetails.LocalizedMessage{Locale: "en", Message: bounded(f.Message)})
	}
	if len(f.Fields) > 0 {
		list = append(list, badRequest(f.Fields[:min(len(f.Fields), listed)]))
	}
	if len(f.Unmet) > 0 {
		list = append(list, preconditionFailure(f.Unmet[:min(len(f.Unmet), listed)]))
	}
	if f.Resource != (fault.Resource{}) {
		list = append(list, &errdetails.ResourceInfo{
			ResourceType: bounded(f.Resource.Type), ResourceName: bounded(f.Resource.Name),
		})
	}
	if f.RetryAfter > 0 {
		list = append(list, &errdetails.RetryInfo{RetryDelay: durationpb.New(f.RetryAfter)})
	}
	return list
}

func errorInfo(f *fault.Error, listed int) *errdetails.ErrorInfo {
	reason := f.Reason
	if reason == "" {
		reason = f.Kind.String()
	}
	info := &errdetails.ErrorInfo{Reason: bounded(reason), Domain: domain}
	if len(f.Metadata) == 0 {
		return info
	}
	keys := slices.Sorted(maps.Keys(f.Metadata))
	info.Metadata = make(map[string]string, len(keys))
	for _, key := range keys[:min(len(keys), listed)] {
		info.Metadata[bounded(key)] = bounded(f.Metadata[key])
	}
	return info
}

func badRequest(fields []fault.Field) *errdetails.BadRequest {
	detail := &errdetails.BadRequest{}
	for _, field := range fields {
		detail.FieldViolations = append(detail.FieldViolations, &errdetails.BadRequest_FieldViolation{
			Field: bounded(field.Path), Description: bounded(field.Description),
		})
	}
	return detail
}

func preconditionFailure(unmet []fault.Unmet) *errdetails.PreconditionFailure {
	detail := &errdetails.PreconditionFailure{}
	for _, u := range unmet {
		detail.Violations = append(detail.Violations, &errdetails.PreconditionFailure_Violation{
			Type: bounded(u.Type), Subject: bounded(u.Subject), Description: bounded(u.Description),
		})
	}
	return detail
}

// bounded makes a text fit for a protobuf string in a trailer.
func bounded(text string) string {
	text = strings.ToValidUTF8(text, "\uFFFD")
	if len(text) <= maxTextBytes {
		return text
	}
	cut := maxTextBytes - len("…")
	for !utf8.RuneStart(text[cut]) {
		cut--
	}
	return text[:cut] + "…"
}
