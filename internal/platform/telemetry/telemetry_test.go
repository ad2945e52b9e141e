package telemetry_test

import (
	"bytes"
	"context"
	"encoding/json"
	"log/slog"
	"net"
	"strings"
	"sync"
	"testing"
	"time"

	"go.opentelemetry.io/otel/propagation"
	sdktrace "go.opentelemetry.io/otel/sdk/trace"
	"go.opentelemetry.io/otel/sdk/trace/tracetest"
	"go.opentelemetry.io/otel/trace"
	collector "go.opentelemetry.io/proto/otlp/collector/trace/v1"
	"google.golang.org/grpc"

	"ramprow/internal/platform/telemetry"
)

func start(t testing.TB, cfg telemetry.Config, env map[string]string) (*telemetry.Telemetry, error) {
	t.Helper()
	cfg.Service = "probe"
	cfg.Getenv = func(name string) string { return env[name] }
	return telemetry.Start(context.Background(), cfg)
}

func mustStart(t testing.TB, cfg telemetry.Config) *telemetry.Telemetry {
	t.Helper()
	tel, err := start(t, cfg, nil)
	if err != nil {
		t.Fatal(err)
	}
	return tel
}

func TestIdsExistWithoutAnExporter(t *testing.T) {
	tel := mustStart(t, telemetry.Config{})
	ctx, span := tel.Tracer("test").Start(context.Background(), "root")
	if span.IsRecording() {
		t.Error("a span that nobody looks at must not be recorded")
	}
	if id := telemetry.TraceID(ctx); len(id) != 32 {
		t.Errorf("trace id %q", id)
	}
	inner, child := tel.Tracer("test").Start(ctx, "child")
	if telemetry.TraceID(inner) != telemetry.TraceID(ctx) || child.SpanContext().SpanID() == span.SpanContext().SpanID() {
		t.Error("a child has its parent's trace id and a span id of its own")
	}
	if telemetry.TraceID(context.Background()) != "" {
		t.Error("no trace has no id")
	}
}

// The header's form and this example are of W3C Trace Context, section 3.2.
func TestTraceContextCrossesAnEdge(t *testing.T) {
	const header = "00-0af7651916cd43dd8448eb211c80319c-b7ad6b7169203331-01"
	recorder := tracetest.NewSpanRecorder()
	tel := mustStart(t, telemetry.Config{Processor: recorder})
	ctx := tel.Propagator().Extract(context.Background(), propagation.MapCarrier{"traceparent": header, "baggage": "a=b"})
	ctx, span := tel.Tracer("test").Start(ctx, "effect")
	span.End()
	if got := telemetry.TraceID(ctx); got != "0af7651916cd43dd8448eb211c80319c" {
		t.Errorf("trace id %q", got)
	}
	if got := recorder.Ended()[0].Parent().SpanID().String(); got != "b7ad6b7169203331" {
		t.Errorf("parent %q", got)
	}
	out := propagation.MapCarrier{}
	tel.Propagator().Inject(ctx, out)
	if !strings.HasPrefix(out["traceparent"], "00-0af7651916cd43dd8448eb211c80319c-") || !strings.HasSuffix(out["traceparent"], "-01") || out["baggage"] != "a=b" {
		t.Errorf("sent on: %v", out)
	}
}

func TestTheEnvironmentDecidesOnExport(t *testing.T) {
	tests := []struct {
		name    string
		env     map[string]string
		records bool
		refused bool
	}{
		{"nothing set", nil, false, false},
		{"an endpoint", map[string]string{"OTEL_EXPORTER_OTLP_ENDPOINT": "http://127.0.0.1:1"}, true, false},
		{"an endpoint for traces", map[string]string{"OTEL_EXPORTER_OTLP_TRACES_ENDPOINT": "http://127.0.0.1:1"}, true, false},
		{"named", map[string]string{"OTEL_TRACES_EXPORTER": "otlp"}, true, false},
		{"none in spite of an endpoint", map[string]string{"OTEL_TRACES_EXPORTER": "none", "OTEL_EXPORTER_OTLP_ENDPOINT": "http://127.0.0.1:1"}, false, false},
		{"disabled", map[string]string{"OTEL_SDK_DISABLED": "true", "OTEL_TRACES_EXPORTER": "otlp"}, false, false},
		{"another exporter", map[string]string{"OTEL_TRACES_EXPORTER": "else"}, false, true},
		{"another protocol", map[string]string{"OTEL_TRACES_EXPORTER": "otlp", "OTEL_EXPORTER_OTLP_PROTOCOL": "http/json"}, false, true},
		{"the right protocol for traces", map[string]string{
			"OTEL_TRACES_EXPORTER": "otlp", "OTEL_EXPORTER_OTLP_PROTOCOL": "http/json", "OTEL_EXPORTER_OTLP_TRACES_PROTOCOL": "grpc",
		}, true, false},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			tel, err := start(t, telemetry.Config{}, tt.env)
			if tt.refused {
				if err == nil || !strings.Contains(err.Error(), "use ") {
					t.Errorf("got %v, want an error that says what to use", err)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			_, span := tel.Tracer("test").Start(context.Background(), "s")
			if span.IsRecording() != tt.records {
				t.Errorf("recording: %v", span.IsRecording())
			}
			// The span is not ended, so that nothing is sent anywhere.
			if err := tel.Shutdown(context.Background()); err != nil {
				t.Error(err)
			}
		})
	}
}

// sink is a trace collector.
type sink struct {
	collector.UnimplementedTraceServiceServer

	mu    sync.Mutex
	names []string
	about map[string]string
}

func (s *sink) Export(_ context.Context, in *collector.ExportTraceServiceRequest) (*collector.ExportTraceServiceResponse, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, r := range in.GetResourceSpans() {
		for _, a := range r.GetResource().GetAttributes() {
			s.about[a.GetKey()] = a.GetValue().GetStringValue()
		}
		for _, scope := range r.GetScopeSpans() {
			for _, span := range scope.GetSpans() {
				s.names = append(s.names, span.GetName())
			}
		}
	}
	return &collector.ExportTraceServiceResponse{}, nil
}

func TestShutdownHandsOutTheLastSpans(t *testing.T) {
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	server, received := grpc.NewServer(), &sink{about: map[string]string{}}
	collector.RegisterTraceServiceServer(server, received)
	go func() { _ = server.Serve(listener) }()
	defer server.Stop()

	t.Setenv("OTEL_EXPORTER_OTLP_ENDPOINT", "http://"+listener.Addr().String()) // the exporter reads it itself
	tel, err := telemetry.Start(context.Background(), telemetry.Config{Service: "probe", Version: "v1"})
	if err != nil {
		t.Fatal(err)
	}
	_, span := tel.Tracer("test").Start(context.Background(), "last words")
	span.End()
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Second)
	defer cancel()
	if err := tel.Shutdown(ctx); err != nil {
		t.Fatal(err)
	}
	received.mu.Lock()
	defer received.mu.Unlock()
	if len(received.names) != 1 || received.names[0] != "last words" {
		t.Errorf("the collector has %v", received.names)
	}
	if received.about["service.name"] != "probe" || received.about["service.version"] != "v1" {
		t.Errorf("the spans are from %v", received.about)
	}
}

func TestLogLinesCarryTheTrace(t *testing.T) {
	var out bytes.Buffer
	tel := mustStart(t, telemetry.Config{Log: &out, LogFormat: telemetry.FormatJSON, LogLevel: slog.LevelInfo})
	ctx, span := tel.Tracer("test").Start(context.Background(), "s")
	tel.Logger().DebugContext(ctx, "not shown")
	tel.Logger().With("job", "17").WithGroup("g").InfoContext(ctx, "shown", "k", "v")
	var line map[string]any
	if err := json.Unmarshal(out.Bytes(), &line); err != nil {
		t.Fatalf("%v in %s", err, out.String())
	}
	group, _ := line["g"].(map[string]any)
	if line["msg"] != "shown" || line["job"] != "17" || line["service"] != "probe" || group["k"] != "v" {
		t.Errorf("line %v", line)
	}
	ids := span.SpanContext()
	if group["trace_id"] != ids.TraceID().String() || group["span_id"] != ids.SpanID().String() {
		t.Errorf("line %v lacks the ids of %v", line, ids)
	}

	out.Reset()
	mustStart(t, telemetry.Config{Log: &out}).Logger().InfoContext(context.Background(), "no trace")
	if text := out.String(); strings.Contains(text, "trace_id") || !strings.Contains(text, `msg="no trace"`) {
		t.Errorf("line %s", text)
	}
}

func TestTheServiceNeedsAName(t *testing.T) {
	if _, err := telemetry.Start(context.Background(), telemetry.Config{}); err == nil {
		t.Error("spans of nobody must be refused")
	}
}

// What a span costs when nobody looks, and when somebody does.
func BenchmarkSpan(b *testing.B) {
	for name, cfg := range map[string]telemetry.Config{
		"ids only": {}, "recorded": {Processor: sdktrace.NewBatchSpanProcessor(tracetest.NewNoopExporter())},
	} {
		b.Run(name, func(b *testing.B) {
			tracer := mustStart(b, cfg).Tracer("test")
			b.ReportAllocs()
			for b.Loop() {
				_, span := tracer.Start(context.Background(), "s", trace.WithSpanKind(trace.SpanKindServer))
				span.End()
			}
		})
	}
}
