package desk

import (
	"context"

	"go.opentelemetry.io/otel/attribute"
	"go.opentelemetry.io/otel/codes"
	"go.opentelemetry.io/otel/trace"

	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/telemetry"
)

// span begins to record a page, if anybody wants that.
func (d *Desk) span(ctx context.Context, name string) (context.Context, trace.Span) {
	if d.Tracer == nil {
		return ctx, trace.SpanFromContext(ctx)
	}
	return d.Tracer.Start(ctx, name, trace.WithSpanKind(trace.SpanKindServer)) //nolint:spancheck // the caller ends it
}

// noteWho writes into a page's span who looks at it, if anybody records it.
func noteWho(span trace.Span, who identity.Identity) {
	if span.IsRecording() {
		span.SetAttributes(attribute.String(telemetry.AttributeSite, who.Site), attribute.String(telemetry.AttributePerson, who.Person))
	}
}

// noteFailure tells that the page became another one than was asked for.
func noteFailure(span trace.Span, err error) {
	if span.IsRecording() {
		span.SetStatus(codes.Error, err.Error())
	}
}
