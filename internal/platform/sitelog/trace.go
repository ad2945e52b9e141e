package sitelog

import (
	"context"
	"slices"

	"go.opentelemetry.io/otel/attribute"
	"go.opentelemetry.io/otel/codes"
	"go.opentelemetry.io/otel/propagation"
	"go.opentelemetry.io/otel/trace"
	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/telemetry"
	logv1 "ramprow/proto/ramprow/log/v1"
)

const scope = "ramprow/internal/platform/sitelog"

// carrier reads and writes the trace context of an entry in its fields, without
// a map in between.
type carrier struct{ entry *logv1.Entry }

// field gives the entry's field of a key; nil for what an entry does not keep.
func (c carrier) field(key string) *string {
	switch key {
	case HeaderTraceparent:
		return &c.entry.Traceparent
	case HeaderTracestate:
		return &c.entry.Tracestate
	}
	return nil
}

// Get implements propagation.TextMapCarrier.
func (c carrier) Get(key string) string {
	if field := c.field(key); field != nil {
		return *field
	}
	return ""
}

// Set implements propagation.TextMapCarrier.
func (c carrier) Set(key, value string) {
	if field := c.field(key); field != nil {
		*field = value
	}
}

// Keys implements propagation.TextMapCarrier.
func (carrier) Keys() []string { return []string{HeaderTraceparent, HeaderTracestate} }

// stamp writes the span of ctx into an entry, so that what the entry brings
// about in other services joins the same trace.
func stamp(ctx context.Context, entry *logv1.Entry) {
	propagation.TraceContext{}.Inject(ctx, carrier{entry})
}

// traceOf gives a context whose span is the one that decided an entry.
func traceOf(ctx context.Context, entry *logv1.Entry) context.Context {
	if entry.GetTraceparent() == "" {
		return ctx
	}
	return propagation.TraceContext{}.Extract(ctx, carrier{entry})
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

// mine gives the attributes of work that no caller asked for: whose it is, and what
// it brought about.
func (w *writer[S]) mine(events []proto.Message) []attribute.KeyValue {
	return []attribute.KeyValue{
		attribute.String(telemetry.AttributeService, w.subject.Service),
		attribute.String(telemetry.AttributeSite, w.subject.Site),
		kinds(events),
	}
}

// maxKinds bounds the kinds of events that a span names.
const maxKinds = 16

// kinds lists the kinds of events, as in PartsHeld, each once.
func kinds(events []proto.Message) attribute.KeyValue {
	var names []string
	for _, e := range events {
		name := string(e.ProtoReflect().Descriptor().Name())
		if len(names) < maxKinds && !slices.Contains(names, name) {
			names = append(names, name)
		}
	}
	return attribute.StringSlice(telemetry.AttributeEvents, names)
}

// endSpan closes a span with the error, if any, as its status.
func endSpan(span trace.Span, err error) {
	if err != nil && span.IsRecording() {
		span.SetStatus(codes.Error, err.Error())
	}
	span.End()
}
