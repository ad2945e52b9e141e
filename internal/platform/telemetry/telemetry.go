// Package telemetry gives a process its traces and its log. Nothing in it is
// global: who wants to trace or log is handed a *Telemetry. Spans are exported
// only if the standard OTEL_ environment variables ask for it; trace ids exist
// always, because a receipt names the trace of what it brought about.
package telemetry

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"time"

	"go.opentelemetry.io/otel/attribute"
	"go.opentelemetry.io/otel/exporters/otlp/otlptrace"
	"go.opentelemetry.io/otel/exporters/otlp/otlptrace/otlptracegrpc"
	"go.opentelemetry.io/otel/propagation"
	"go.opentelemetry.io/otel/sdk/resource"
	sdktrace "go.opentelemetry.io/otel/sdk/trace"
	"go.opentelemetry.io/otel/trace"
	tracepb "go.opentelemetry.io/proto/otlp/trace/v1"

	"ramprow/internal/platform/metrics"
)

// Config says what is traced and where the log goes. Only Service is required.
type Config struct {
	// Service is the OpenTelemetry service.name; OTEL_SERVICE_NAME overrides it.
	Service string
	Version string
	// Log takes the log; os.Stderr if nil.
	Log io.Writer
	// LogFormat is FormatText or FormatJSON; text if empty.
	LogFormat Format
	LogLevel  slog.Level
	// Processor sees every span beside the exporter, as a test's recorder does.
	Processor sdktrace.SpanProcessor
	// Sink takes every span in the form of the OpenTelemetry protocol, in this
	// process, beside an exporter that the environment asks for.
	Sink Sink
	// TracesPerSecond bounds the new traces that are recorded for an exporter or a
	// sink, unless OTEL_TRACES_SAMPLER says otherwise; DefaultTracesPerSecond if zero.
	TracesPerSecond int
	// Metrics counts calls and commits; nil: nobody counts.
	Metrics *metrics.Metrics
	// Getenv reads the environment; os.Getenv if nil.
	Getenv func(string) string
}

// Sink is a store of spans.
type Sink interface {
	UploadTraces(ctx context.Context, spans []*tracepb.ResourceSpans) error
}

// sinkClient lets a Sink stand in the place of a connection to a collector.
type sinkClient struct{ Sink }

// Start implements otlptrace.Client.
func (sinkClient) Start(context.Context) error { return nil }

// Stop implements otlptrace.Client.
func (sinkClient) Stop(context.Context) error { return nil }

// sinkPause is how long spans wait for others on their way to a sink: a page that
// shows them should not be far behind.
const sinkPause = 500 * time.Millisecond

// Telemetry is one process's tracing and logging.
type Telemetry struct {
	provider   *sdktrace.TracerProvider
	propagator propagation.TextMapPropagator
	log        *slog.Logger
	records    bool
	metrics    *metrics.Metrics
}

// Start sets tracing and logging up. It connects to nothing: an exporter that
// cannot reach its collector says so in the log and drops spans.
func Start(ctx context.Context, cfg Config) (*Telemetry, error) {
	if cfg.Service == "" {
		return nil, errors.New("telemetry: name the service")
	}
	if cfg.Getenv == nil {
		cfg.Getenv = os.Getenv
	}
	if cfg.Log == nil {
		cfg.Log = os.Stderr
	}
	options, records, err := providerOptions(ctx, cfg)
	if err != nil {
		return nil, err
	}
	return &Telemetry{
		records:    records,
		metrics:    cfg.Metrics,
		provider:   sdktrace.NewTracerProvider(options...),
		propagator: propagation.NewCompositeTextMapPropagator(propagation.TraceContext{}, propagation.Baggage{}),
		log:        newLogger(cfg).With("service", cfg.Service),
	}, nil
}

// providerOptions decides what becomes of spans, and tells whether any are
// recorded. With nobody to look at them they have ids, and cost no more than these.
func providerOptions(ctx context.Context, cfg Config) (options []sdktrace.TracerProviderOption, records bool, err error) {
	export, err := exportWanted(cfg.Getenv)
	if err != nil {
		return nil, false, err
	}
	if cfg.Getenv("OTEL_SDK_DISABLED") == "true" {
		cfg.Sink = nil
	}
	if !export && cfg.Sink == nil && cfg.Processor == nil {
		return []sdktrace.TracerProviderOption{sdktrace.WithSampler(sdktrace.NeverSample())}, false, nil
	}
	res, err := newResource(ctx, cfg)
	if err != nil {
		return nil, false, err
	}
	options = append(options, sdktrace.WithResource(res))
	if cfg.Processor != nil {
		options = append(options, sdktrace.WithSpanProcessor(cfg.Processor))
	} else if cfg.Getenv("OTEL_TRACES_SAMPLER") == "" { // the SDK reads that one itself
		options = append(options, sdktrace.WithSampler(&sampler{
			perSecond: int64(cmp.Or(cfg.TracesPerSecond, DefaultTracesPerSecond)), now: time.Now,
		}))
	}
	if export {
		// The exporter reads endpoint, headers, TLS files and timeouts from the environment itself.
		exporter, err := otlptracegrpc.New(ctx)
		if err != nil {
			return nil, false, fmt.Errorf("telemetry: make the trace exporter: %w", err)
		}
		options = append(options, sdktrace.WithBatcher(exporter))
	}
	if cfg.Sink != nil {
		exporter, err := otlptrace.New(ctx, sinkClient{cfg.Sink})
		if err != nil {
			return nil, false, fmt.Errorf("telemetry: make the sink's exporter: %w", err)
		}
		options = append(options, sdktrace.WithBatcher(exporter, sdktrace.WithBatchTimeout(sinkPause)))
	}
	return options, true, nil
}

func newResource(ctx context.Context, cfg Config) (*resource.Resource, error) {
	res, err := resource.New(ctx,
		resource.WithTelemetrySDK(),
		resource.WithAttributes(
			attribute.String("service.name", cfg.Service),
			attribute.String("service.version", cfg.Version),
		),
		resource.WithFromEnv(), // last, so that the environment wins
	)
	if err != nil {
		return nil, fmt.Errorf("telemetry: describe the process: %w", err)
	}
	return res, nil
}

// exportWanted reads the OpenTelemetry specification's general variables: a
// named exporter or an endpoint asks for export, none or OTEL_SDK_DISABLED forbids it.
func exportWanted(getenv func(string) string) (bool, error) {
	if getenv("OTEL_SDK_DISABLED") == "true" {
		return false, nil
	}
	switch exporter := getenv("OTEL_TRACES_EXPORTER"); exporter {
	case "none":
		return false, nil
	case "otlp":
	case "":
		if getenv("OTEL_EXPORTER_OTLP_ENDPOINT") == "" && getenv("OTEL_EXPORTER_OTLP_TRACES_ENDPOINT") == "" {
			return false, nil
		}
	default:
		return false, fmt.Errorf("telemetry: OTEL_TRACES_EXPORTER=%q is not supported; use otlp or none", exporter)
	}
	protocol := getenv("OTEL_EXPORTER_OTLP_TRACES_PROTOCOL")
	if protocol == "" {
		protocol = getenv("OTEL_EXPORTER_OTLP_PROTOCOL")
	}
	if protocol != "" && protocol != "grpc" {
		return false, fmt.Errorf("telemetry: OTLP protocol %q is not supported; use grpc", protocol)
	}
	return true, nil
}

// TracerProvider makes tracers, for libraries that want one.
func (t *Telemetry) TracerProvider() trace.TracerProvider { return t.provider }

// Records tells whether anybody looks at spans.
func (t *Telemetry) Records() bool { return t.records }

// Metrics counts; nil: nobody does.
func (t *Telemetry) Metrics() *metrics.Metrics { return t.metrics }

// Tracer makes spans for one package.
func (t *Telemetry) Tracer(name string) trace.Tracer { return t.provider.Tracer(name) }

// Propagator carries W3C trace context and baggage over a process's edge.
func (t *Telemetry) Propagator() propagation.TextMapPropagator { return t.propagator }

// Logger is the process's log. Pass it a context: it adds the trace's ids.
func (t *Telemetry) Logger() *slog.Logger { return t.log }

// Shutdown hands out what is still buffered, within the context's time.
func (t *Telemetry) Shutdown(ctx context.Context) error {
	if err := t.provider.Shutdown(ctx); err != nil {
		return fmt.Errorf("telemetry: hand out the last spans: %w", err)
	}
	return nil
}

// TraceID gives the context's W3C trace id, 32 hexadecimal digits, or "".
func TraceID(ctx context.Context) string {
	if id := trace.SpanContextFromContext(ctx).TraceID(); id.IsValid() {
		return id.String()
	}
	return ""
}
