package rpc

import (
	"context"
	"strings"
	"time"

	"go.opentelemetry.io/otel/attribute"
	"go.opentelemetry.io/otel/codes"
	"go.opentelemetry.io/otel/trace"
	grpccodes "google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/telemetry"
)

// slowCall is how long a call takes that is told of even if its trace is not recorded.
const slowCall = time.Second

// watch looks at a call from before its first step until after its last. One that
// failed or was slow leaves a span even where its trace is not recorded: so what
// somebody will ask about is found under any load.
func (s *Server) watch(ctx context.Context, m *method) func(err *error) {
	counts, records := s.cfg.Telemetry.Metrics(), s.cfg.Telemetry.Records()
	if counts == nil && !records {
		return func(*error) {}
	}
	began := time.Now()
	return func(err *error) {
		counts.Called(s.cfg.Service, strings.TrimPrefix(m.name, "/"), status.Code(*err), time.Since(began))
		if !records || trace.SpanFromContext(ctx).IsRecording() {
			return
		}
		code := status.Code(*err)
		if !defective(code) && time.Since(began) < slowCall {
			return
		}
		_, span := s.cfg.Telemetry.Tracer(scope).Start(ctx, strings.TrimPrefix(m.name, "/"), telemetry.Kept,
			trace.WithTimestamp(began), trace.WithSpanKind(trace.SpanKindServer),
			trace.WithAttributes(attribute.String("rpc.response.status_code", code.String())))
		if who, verifyErr := s.cfg.Verifier.Verify(bearer(ctx)); verifyErr == nil {
			span.SetAttributes(whoIs(who)...)
		}
		if *err != nil {
			span.SetStatus(codes.Error, (*err).Error())
		}
		span.End()
	}
}

const scope = "ramprow/internal/platform/rpc"

// defective tells whether an answer speaks of the program and not of the request.
func defective(code grpccodes.Code) bool {
	switch code {
	case grpccodes.Unknown, grpccodes.DeadlineExceeded, grpccodes.Unimplemented, grpccodes.Internal, grpccodes.Unavailable, grpccodes.DataLoss:
		return true
	default:
		return false
	}
}

// tellWho writes into the call's span who calls, if anybody looks.
func tellWho(ctx context.Context, id identity.Identity) {
	if span := trace.SpanFromContext(ctx); span.IsRecording() {
		span.SetAttributes(whoIs(id)...)
	}
}

func whoIs(id identity.Identity) []attribute.KeyValue {
	return []attribute.KeyValue{attribute.String(telemetry.AttributeSite, id.Site), attribute.String(telemetry.AttributePerson, id.Person)}
}

// tellAbout writes into the call's span which things a message names. The answer
// comes after the request and replaces it, if it names any: what was just made has
// its name only there.
func tellAbout(ctx context.Context, message any) {
	span := trace.SpanFromContext(ctx)
	if !span.IsRecording() {
		return
	}
	if m, ok := message.(proto.Message); ok {
		if about := telemetry.About(m); len(about.Value.AsStringSlice()) > 0 {
			span.SetAttributes(about)
		}
	}
}
