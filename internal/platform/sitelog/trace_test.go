package sitelog_test

import (
	"testing"
	"testing/synctest"

	"go.opentelemetry.io/otel/attribute"
	sdktrace "go.opentelemetry.io/otel/sdk/trace"
	"go.opentelemetry.io/otel/sdk/trace/tracetest"
	"go.opentelemetry.io/otel/trace"

	"ramprow/internal/platform/sitelog"
	"ramprow/internal/platform/sitelog/memory"
)

// One trace id follows a cause from the caller through every log it reaches.
func TestOneTraceFollowsACause(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		recorder := tracetest.NewSpanRecorder()
		provider := sdktrace.NewTracerProvider(sdktrace.WithSpanProcessor(recorder))
		log := memory.New()
		o := sitelog.Options{TracerProvider: provider}
		job := open(t, log, boardMachine("job"), o)
		open(t, log, boardMachine("inventory", "job"), o)
		open(t, log, boardMachine("scheduling", "inventory"), o)

		ctx, root := provider.Tracer("test").Start(t.Context(), "terminal")
		c := say("part", "skip it")
		if _, err := job.Do(ctx, site, c); err != nil {
			t.Fatal(err)
		}
		root.End()
		synctest.Wait()

		checkSpans(t, recorder, root.SpanContext().TraceID())
		var traceID string
		record, err := log.Last(t.Context(), sitelog.Subject{Service: "scheduling", Site: site})
		if err != nil {
			t.Fatal(err)
		}
		if events, err := sitelog.EventsOf(record); err == nil {
			traceID = events[0].TraceID
		}
		if traceID != root.SpanContext().TraceID().String() || record.Header["traceparent"] == "" {
			t.Errorf("the last log says trace %q, headers %v", traceID, record.Header)
		}

		// A replay makes no spans.
		before := len(recorder.Started())
		again := open(t, log, boardMachine("job"), o)
		snapshot(t, again)
		if n := len(recorder.Started()); n != before {
			t.Errorf("a replay has made %d spans", n-before)
		}
	})
}

// checkSpans looks at what two followers and the writers have recorded.
func checkSpans(t *testing.T, recorder *tracetest.SpanRecorder, id trace.TraceID) {
	t.Helper()
	spans := map[string]sdktrace.ReadOnlySpan{}
	for _, s := range recorder.Ended() {
		spans[s.Name()] = s
		if s.SpanContext().TraceID() != id {
			t.Errorf("%s is in another trace", s.Name())
		}
	}
	for _, want := range []struct {
		name, parent string
		kind         trace.SpanKind
	}{
		{"decide /test.Board/Say", "terminal", trace.SpanKindInternal},
		{"send job.{partition}.{site}", "decide /test.Board/Say", trace.SpanKindProducer},
		{"react job StringValue", "decide /test.Board/Say", trace.SpanKindConsumer},
		{"send inventory.{partition}.{site}", "react job StringValue", trace.SpanKindProducer},
		{"react inventory StringValue", "react job StringValue", trace.SpanKindConsumer},
	} {
		s, parent := spans[want.name], spans[want.parent]
		if s == nil || parent == nil {
			t.Errorf("no span %s under %s", want.name, want.parent)
			continue
		}
		if s.SpanKind() != want.kind || s.Parent().SpanID() != parent.SpanContext().SpanID() {
			t.Errorf("%s is %v under %v, not %v under %s", want.name, s.SpanKind(), s.Parent().SpanID(), want.kind, want.parent)
		}
	}
	if len(spans) != 7 { // the five above, terminal, and scheduling's send
		t.Errorf("%d kinds of spans: %v", len(spans), spans)
	}
	attributes := attribute.NewSet(spans["send job.{partition}.{site}"].Attributes()...)
	for key, value := range map[attribute.Key]string{
		"messaging.system": "nats", "messaging.operation.name": "send", "messaging.operation.type": "send",
		"messaging.destination.template":     "job.{partition}.{site}",
		"messaging.destination.partition.id": sitelog.Partition(site, sitelog.DefaultPartitions),
	} {
		if got, _ := attributes.Value(key); got.AsString() != value {
			t.Errorf("%s is %q, not %q", key, got.AsString(), value)
		}
	}
}

// The receipt of a repetition has to lead to what the first call brought about.
func TestARepetitionNamesTheTraceOfTheFirstCall(t *testing.T) {
	eachLog(t, func(t *testing.T, log sitelog.Log) {
		r := open(t, log, boardMachine("job"), sitelog.Options{})
		tracer := sdktrace.NewTracerProvider().Tracer("test")
		ask := func() (sitelog.Outcome, string) {
			ctx, span := tracer.Start(t.Context(), "terminal")
			defer span.End()
			out, err := r.Do(ctx, site, add("req-0001", "anvil"))
			if err != nil {
				t.Fatal(err)
			}
			return out, span.SpanContext().TraceID().String()
		}
		first, trace := ask()
		again, other := ask()
		if trace == other || first.TraceID != trace || again.TraceID != trace || !again.Repeated {
			t.Errorf("the first call, traced as %s, says %s; the repetition says %s", trace, first.TraceID, again.TraceID)
		}
	})
}

// Without a provider the caller's trace context still reaches the log.
func TestTraceContextPassesWithoutAProvider(t *testing.T) {
	log := memory.New()
	r := open(t, log, boardMachine("job"), sitelog.Options{})
	provider := sdktrace.NewTracerProvider()
	ctx, span := provider.Tracer("test").Start(t.Context(), "terminal")
	defer span.End()
	if _, err := r.Do(ctx, site, say("a")); err != nil {
		t.Fatal(err)
	}
	last, err := log.Last(t.Context(), jobSubject)
	if err != nil || len(last.Header["traceparent"]) != 55 || last.Header["traceparent"][3:35] != span.SpanContext().TraceID().String() {
		t.Errorf("the header is %q, %v", last.Header["traceparent"], err)
	}
}
