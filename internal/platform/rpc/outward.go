package rpc

import (
	"context"
	"errors"
	"runtime/debug"
	"strconv"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/telemetry"
)

// maxPushback is the longest wait that a client's automatic retry is worth.
const maxPushback = 2 * time.Second

// pushbackKey is the trailer by which a server tells gRPC's client when to retry.
const pushbackKey = "grpc-retry-pushback-ms"

// stopRetry is when a client that was sent away by a stopping server may try
// another one, or this one's successor.
const stopRetry = time.Second

// finish is deferred around every call: it turns a panic into an error, and any
// error into the status that the caller sees.
func (s *Server) finish(ctx context.Context, m *method, err *error) {
	if defect := recover(); defect != nil {
		s.log.ErrorContext(ctx, "call panicked", "method", m.name, "panic", defect, "stack", string(debug.Stack()))
		*err = ToStatus(neutral(ctx, "PANIC")).Err()
		return
	}
	if *err != nil {
		*err = s.outward(ctx, m, *err)
	}
}

// outward gives the status for whatever a step or a handler returned. Only a
// fault, a status or the call's own end is meant for the caller.
func (s *Server) outward(ctx context.Context, m *method, err error) error {
	if elsewhere, ok := errors.AsType[answered](err); ok {
		return elsewhere.status.Err()
	}
	if f, ok := errors.AsType[*fault.Error](err); ok && f.Kind != fault.Internal {
		if f.Kind == fault.Unavailable {
			s.away(ctx, m, f)
		}
		return ToStatus(f).Err()
	}
	if ctx.Err() != nil && (errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded)) {
		return ToStatus(ended(ctx)).Err()
	}
	if st, ok := status.FromError(err); ok && kindOf(st.Code()) != fault.Internal {
		f, _ := errors.AsType[*fault.Error](FromStatus(err))
		return ToStatus(f).Err()
	}
	s.log.ErrorContext(ctx, "call failed", "method", m.name, "error", err)
	return ToStatus(neutral(ctx, fault.ReasonOf(err))).Err()
}

// away logs what an operator must know although the caller is told: that
// something this server depends on is away. And where waiting takes longer than
// a person would, it keeps gRPC's client from trying again by itself (gRFC A6).
func (s *Server) away(ctx context.Context, m *method, f *fault.Error) {
	s.log.WarnContext(ctx, "call refused", "method", m.name, "reason", f.Reason, "error", f)
	if f.RetryAfter <= 0 || ctx.Err() != nil { // whose time is up hears nothing more
		return
	}
	pushback := "-1"
	// A caller whose time is up while its client waits would hear nothing of the reason.
	deadline, bounded := ctx.Deadline()
	if f.RetryAfter <= maxPushback && (!bounded || time.Until(deadline) > f.RetryAfter) {
		pushback = strconv.FormatInt(f.RetryAfter.Milliseconds(), 10)
	}
	if err := grpc.SetTrailer(ctx, metadata.Pairs(pushbackKey, pushback)); err != nil {
		s.log.WarnContext(ctx, "no retry hint", "method", m.name, "error", err)
	}
}

// ended says why a call's context is over.
func ended(ctx context.Context) *fault.Error {
	if f, ok := errors.AsType[*fault.Error](context.Cause(ctx)); ok {
		return f
	}
	if errors.Is(ctx.Err(), context.DeadlineExceeded) {
		return fault.New(fault.Deadline, "DEADLINE_EXCEEDED", "there was no time left to answer; ask for the present state before you try again")
	}
	return fault.New(fault.Canceled, "CANCELED", "the caller went away before the answer")
}

// neutral is what a caller sees of a defect: enough to report it, and nothing of it.
func neutral(ctx context.Context, reason string) *fault.Error {
	if reason == "" {
		reason = "INTERNAL"
	}
	trace := telemetry.TraceID(ctx)
	return fault.New(fault.Internal, reason, "something went wrong inside; report it with trace %s", trace).With("trace_id", trace)
}

func stopping() *fault.Error {
	return fault.New(fault.Unavailable, "SERVER_STOPPING", "this server is stopping; connect again").Retry(stopRetry)
}
