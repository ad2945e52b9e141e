package sitelog

import (
	"context"

	"go.opentelemetry.io/otel/attribute"
	"go.opentelemetry.io/otel/codes"
	"go.opentelemetry.io/otel/propagation"
	"go.opentelemetry.io/otel/trace"

	logv1 "ramprow/proto/ramprow/log/v1"
)

const scope = "ramprow/internal/platform/sitelog"

// carrier is a plain map with exact keys: the stock HTTP carrier would rewrite
// their case, and NATS headers are case-sensitive.
type carrier map[string]string

func (c carrier) Get(key string) string { return c[key] }
func (c carrier) Set(key, value string) { c[key] = value }
func (c carrier) Keys() []string {
	keys := make([]string, 0, len(c))
	for key := range c {
		keys = append(keys, key)
	}
	return keys
}

// stamp writes the span of ctx into an entry, so that what the entry brings
// about in other services joins the same trace.
func stamp(ctx context.Context, entry *logv1.Entry) {
	if !trace.SpanContextFromContext(ctx).IsValid() {
		return
	}
	c := carrier{}
	propagation.TraceContext{}.Inject(ctx, c)
	entry.Traceparent, entry.Tracestate = c[HeaderTraceparent], c[HeaderTracestate]
}

// traceOf gives a context whose span is the one that decided an entry.
func traceOf(ctx context.Context, entry *logv1.Entry) context.Context {
	if entry.GetTraceparent() == "" {
		return ctx
	}
	return propagation.TraceContext{}.Extract(ctx, carrier{
		HeaderTraceparent: entry.GetTraceparent(),
		HeaderTracestate:  entry.GetTracestate(),
	})
}

// traceIDOf reads the trace id out of a traceparent: 00-<32 digits>-<16>-<2>.
func traceIDOf(traceparent string) string {
	const start, end = 3, 35
	if len(traceparent) < end {
		return ""
	}
	return traceparent[start:end]
}

// messaging gives the attributes that samplers want to see at a span's start.
func messaging(service, operation, kind string) trace.SpanStartEventOption {
	return trace.WithAttributes(
		attribute.String("messaging.system", "nats"),
		attribute.String("messaging.operation.name", operation),
		attribute.String("messaging.operation.type", kind),
		attribute.String("messaging.destination.template", service+".{partition}.{site}"),
	)
}

// endSpan closes a span with the error, if any, as its status.
func endSpan(span trace.Span, err error) {
	if err != nil && span.IsRecording() {
		span.SetStatus(codes.Error, err.Error())
	}
	span.End()
}
