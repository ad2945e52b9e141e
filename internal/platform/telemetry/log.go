package telemetry

import (
	"context"
	"log/slog"

	"go.opentelemetry.io/otel/trace"
)

// Format is how log lines are written.
type Format string

const (
	// FormatText is for people who read a terminal.
	FormatText Format = "text"
	// FormatJSON is for programs that collect logs.
	FormatJSON Format = "json"
)

func newLogger(cfg Config) *slog.Logger {
	options := &slog.HandlerOptions{Level: cfg.LogLevel}
	if cfg.LogFormat == FormatJSON {
		return slog.New(tracedHandler{slog.NewJSONHandler(cfg.Log, options)})
	}
	return slog.New(tracedHandler{slog.NewTextHandler(cfg.Log, options)})
}

// tracedHandler adds the ids of the context's span, so that a log line and its
// trace are found from each other.
type tracedHandler struct{ slog.Handler }

func (h tracedHandler) Handle(ctx context.Context, record slog.Record) error {
	if span := trace.SpanContextFromContext(ctx); span.IsValid() {
		record.AddAttrs(
			slog.String("trace_id", span.TraceID().String()),
			slog.String("span_id", span.SpanID().String()),
		)
	}
	return h.Handler.Handle(ctx, record)
}

// WithAttrs and WithGroup keep the wrapping.
func (h tracedHandler) WithAttrs(attrs []slog.Attr) slog.Handler {
	return tracedHandler{h.Handler.WithAttrs(attrs)}
}

func (h tracedHandler) WithGroup(name string) slog.Handler {
	return tracedHandler{h.Handler.WithGroup(name)}
}
