package e2e_test

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	collector "go.opentelemetry.io/proto/otlp/collector/trace/v1"
	commonpb "go.opentelemetry.io/proto/otlp/common/v1"
	tracepb "go.opentelemetry.io/proto/otlp/trace/v1"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/rpc"
	"ramprow/internal/platform/telemetry"
	jobv1 "ramprow/proto/ramprow/job/v1"
	tracesv1 "ramprow/proto/ramprow/traces/v1"
	"ramprow/services/ramprow/stack"
	"ramprow/services/ramprow/story"
	"ramprow/services/terminal"
	"ramprow/services/traces"
)

// awaitTraces asks until enough traces are found: spans come in batches.
func awaitTraces(t *testing.T, ctx context.Context, client tracesv1.TraceServiceClient, what string, request *tracesv1.FindTracesRequest, enough func([]*tracesv1.TraceSummary) bool) []*tracesv1.TraceSummary {
	t.Helper()
	deadline := time.NewTimer(30 * time.Second)
	defer deadline.Stop()
	tick := time.NewTicker(50 * time.Millisecond)
	defer tick.Stop()
	for {
		r, err := client.FindTraces(ctx, request)
		if err != nil {
			t.Fatalf("%s: %v", what, err)
		}
		if enough(r.GetTraces()) {
			return r.GetTraces()
		}
		select {
		case <-tick.C:
		case <-deadline.C:
			t.Fatalf("waited too long for %s; there are %v", what, r.GetTraces())
		}
	}
}

func some(found []*tracesv1.TraceSummary) bool { return len(found) > 0 }

// What a job's commands brought about in every service is one trace each, found by
// the job's name, by the person, and by what failed; another site finds nothing.
func TestTracesOfAJob(t *testing.T) {
	w := openTraced(t, t.TempDir(), traces.NewStore(traces.Limits{}, time.Now))
	ending := w.tell(t)
	clients := w.clients(t)
	owner := w.as(t, site, "ines", identity.Owner)
	about := &tracesv1.FindTracesRequest{About: ending.Job, PageSize: 500}
	found := awaitTraces(t, owner, clients.Traces, "the trace of the diagnosis with its effects", &tracesv1.FindTracesRequest{About: ending.Job, Text: "react job DiagnosisConfirmed", PageSize: 500},
		func(found []*tracesv1.TraceSummary) bool {
			return slices.ContainsFunc(found, func(s *tracesv1.TraceSummary) bool {
				return slices.Contains(s.GetServices(), "inventory") && slices.Contains(s.GetServices(), "scheduling") && slices.Contains(s.GetServices(), "torque-audit")
			})
		})
	one, err := clients.Traces.GetTrace(owner, &tracesv1.GetTraceRequest{TraceId: found[0].GetTraceId()})
	if err != nil {
		t.Fatal(err)
	}
	kinds := map[tracesv1.SpanKind]int{}
	for _, s := range one.GetSpans() {
		kinds[s.GetKind()]++
	}
	for _, kind := range []tracesv1.SpanKind{
		tracesv1.SpanKind_SPAN_KIND_SERVER, tracesv1.SpanKind_SPAN_KIND_INTERNAL, tracesv1.SpanKind_SPAN_KIND_PRODUCER, tracesv1.SpanKind_SPAN_KIND_CONSUMER,
	} {
		if kinds[kind] == 0 {
			t.Errorf("no span of kind %s in %v", kind, one.GetSpans())
		}
	}

	// Each trace that the job's history names is among the job's traces.
	history, err := clients.Job.GetJobHistory(owner, &jobv1.GetJobHistoryRequest{Job: ending.Job, PageSize: 500})
	if err != nil {
		t.Fatal(err)
	}
	wanted := map[string]string{}
	for _, e := range history.GetEntries() {
		wanted[e.GetTraceId()] = e.GetText()
	}
	if len(wanted) < 10 {
		t.Errorf("the history names %d traces", len(wanted))
	}
	awaitTraces(t, owner, clients.Traces, "every trace of the history", about, func(found []*tracesv1.TraceSummary) bool {
		missing := len(wanted)
		for _, f := range found {
			if wanted[f.GetTraceId()] != "" {
				missing--
			}
		}
		return missing == 0
	})

	if _, err := clients.Job.GetJob(owner, &jobv1.GetJobRequest{Job: "jobs/999999"}); fault.KindOf(err) != fault.NotFound {
		t.Fatal(err)
	}
	_, err = clients.Job.StartStep(owner, &jobv1.StartStepRequest{RequestId: "no-such-step-1", Job: ending.Job, Step: "no-such-step"})
	if err == nil {
		t.Fatal("a step that is not there was started")
	}
	refused := awaitTraces(t, owner, clients.Traces, "a refusal", &tracesv1.FindTracesRequest{ErrorsOnly: true, Person: "ines", About: ending.Job}, some)
	if refused[0].GetError() == "" {
		t.Errorf("the refusal says nothing: %v", refused[0])
	}
	elsewhere := w.as(t, "elsewhere", "mallory", identity.Owner)
	r, err := clients.Traces.FindTraces(elsewhere, about)
	if err != nil || len(r.GetTraces()) != 0 {
		t.Errorf("another site finds %v, %v", r.GetTraces(), err)
	}
	if _, err := clients.Traces.GetTrace(elsewhere, &tracesv1.GetTraceRequest{TraceId: found[0].GetTraceId()}); fault.KindOf(err) != fault.NotFound {
		t.Errorf("another site sees the trace: %v", err)
	}
	if _, err := clients.Traces.FindTraces(w.as(t, site, "tomas", identity.Technician), about); fault.KindOf(err) != fault.Denied {
		t.Errorf("a technician finds traces: %v", err)
	}
}

// The owner finds a job's story and its traces by hand, every page is without a
// serious fault of accessibility, and says so when the store is away.
func TestTracePages(t *testing.T) {
	w := openTraced(t, t.TempDir(), traces.NewStore(traces.Limits{}, time.Now))
	newBrowser := openBrowsers(t)
	ending := w.tell(t)
	number := strings.TrimPrefix(ending.Job, "jobs/")
	owner := w.as(t, site, "ines", identity.Owner)
	awaitTraces(t, owner, w.clients(t).Traces, "the diagnosis", &tracesv1.FindTracesRequest{About: ending.Job, Text: "react job DiagnosisConfirmed"}, some)

	b := newBrowser(w.Desk.URL())
	b.signIn(w, "ines", identity.Owner)
	b.open("/jobs/" + number)
	b.click(fmt.Sprintf(`a[href="/jobs/%s/story"]`, number))
	b.await(`document.querySelector("svg.fall")`)
	for _, word := range []string{"Parts", "Tightening", "Invoice"} {
		if !ask[bool](b, `[...document.querySelectorAll("svg.fall text")].some(t => t.textContent === `+quoted(word)+`)`) {
			t.Errorf("the story has no line for %s", word)
		}
	}
	b.accessible("story")
	b.picture("story")

	// By keyboard: the job's number and Enter.
	b.open("/traces")
	b.enter("input[name=about]", number)
	b.enter("input[name=name]", "DiagnosisConfirmed")
	b.do(chromedp.KeyEvent("\r"))
	b.await(`location.search.includes("DiagnosisConfirmed") && document.querySelector("#found tbody a")`)
	b.accessible("traces")
	b.picture("traces")
	b.click("#found tbody a")
	b.await(`document.querySelector("svg.fall rect.span")`)
	if spans := ask[int](b, `document.querySelectorAll("svg.fall rect.span").length`); spans < 5 {
		t.Errorf("%d spans are drawn", spans)
	}
	if text := b.text("main"); !strings.Contains(text, "PartsHeld") && !strings.Contains(text, "PartsShort") {
		t.Errorf("the trace does not say what inventory did: %s", text)
	}
	b.accessible("trace")
	b.picture("trace")
	b.open("/traces?about=jobs/424242")
	b.await(`document.querySelector("#found .empty")`)
	b.accessible("traces-empty")
}

// With the store away the page says so, and shows the rest.
func TestTracePagesWithoutAStore(t *testing.T) {
	dir, _ := folder(t, middle)
	w := openWorkshopWith(t, telemetry.Config{}, stack.WorkshopConfig{Dir: dir})
	newBrowser := openBrowsers(t)
	const job = "1"
	b := newBrowser(w.Desk.URL())
	b.signIn(w, "ines", identity.Owner)
	for _, path := range []string{"/traces", "/jobs/" + job + "/story"} {
		b.open(path)
		if text := b.text("main"); !strings.Contains(text, "does not answer") || !strings.Contains(text, "ramprow serve traces") {
			t.Errorf("%s says %s", path, text)
		}
	}
	b.accessible("story-alone")
	b.picture("story-alone")
}

// Over processes: each role exports by the standard variables, the store is killed
// in the middle of the story, the roles go on, and after its return they are heard again.
func TestTracesOverProcesses(t *testing.T) {
	w := openTown(t, func(w *town) {
		otlp := freeAddress(t)
		w.env = append(w.env, "RAMPROW_OTLP_LISTEN="+otlp, "OTEL_EXPORTER_OTLP_ENDPOINT=http://"+otlp, "OTEL_TRACES_SAMPLER=always_on", "OTEL_BSP_SCHEDULE_DELAY=100")
		w.addresses[terminal.RoleTraces] = freeAddress(t)
		w.start(terminal.RoleTraces)
	})
	tel, err := telemetry.Start(t.Context(), telemetry.Config{Service: "ramprow-e2e", Log: io.Discard, LogLevel: slog.LevelError, Getenv: func(string) string { return "" }})
	if err != nil {
		t.Fatal(err)
	}
	clients, err := terminal.Dial(terminal.DialConfig{Addresses: w.addresses, Telemetry: tel})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = clients.Close() }()
	token := func(person string, role identity.Role) (string, error) {
		return w.signer.Issue(identity.Identity{Site: site, Person: person, Roles: []identity.Role{role}}, time.Hour, time.Now())
	}
	ines, err := token("ines", identity.Owner)
	if err != nil {
		t.Fatal(err)
	}
	owner := rpc.WithToken(t.Context(), ines)
	ending, err := story.Tell(t.Context(), story.Config{
		Clients: clients, Token: token, Out: io.Discard, Now: time.Now,
		Halfway: func(context.Context) error {
			awaitTraces(t, owner, clients.Traces, "the beginning", &tracesv1.FindTracesRequest{About: "jobs/1"}, some)
			w.kill(terminal.RoleTraces)
			return nil
		},
	})
	if err != nil {
		t.Fatalf("without a store of traces the story ends in %v", err)
	}
	if ending.Invoice == "" {
		t.Error("the story has no invoice")
	}
	w.start(terminal.RoleTraces)
	if _, err := clients.Job.GetJob(owner, &jobv1.GetJobRequest{Job: ending.Job}); err != nil {
		t.Fatal(err)
	}
	awaitTraces(t, owner, clients.Traces, "what came after", &tracesv1.FindTracesRequest{About: ending.Job, Text: "GetJob"}, some)
}

// A span made by hand, hostile in each of its texts, is shown as text.
func TestAHostileSpan(t *testing.T) {
	kept := traces.NewStore(traces.Limits{}, time.Now)
	w := openTraced(t, t.TempDir(), kept)
	newBrowser := openBrowsers(t)
	script := `<script>document.title="owned"</script>"'><img src=x onerror=alert(1)>`
	word := func(key, value string) *commonpb.KeyValue {
		return &commonpb.KeyValue{Key: key, Value: &commonpb.AnyValue{Value: &commonpb.AnyValue_StringValue{StringValue: value}}}
	}
	now := uint64(time.Now().UnixNano())
	in := &collector.ExportTraceServiceRequest{ResourceSpans: []*tracepb.ResourceSpans{{ScopeSpans: []*tracepb.ScopeSpans{{Spans: []*tracepb.Span{{
		TraceId: []byte("0123456789abcdef"), SpanId: []byte("01234567"), ParentSpanId: []byte("01234567"), Name: script, StartTimeUnixNano: now, EndTimeUnixNano: now,
		Attributes: []*commonpb.KeyValue{word(telemetry.AttributeSite, site), word(telemetry.AttributePerson, script), word(telemetry.AttributeParked, script), word(telemetry.AttributeService, script), word(script, script)},
		Status:     &tracepb.Status{Code: tracepb.Status_STATUS_CODE_ERROR, Message: script},
	}}}}}}}
	if refused := kept.Add(in.GetResourceSpans()); refused.Why != nil {
		t.Fatal(refused.Why)
	}
	b := newBrowser(w.Desk.URL())
	b.signIn(w, "ines", identity.Owner)
	for _, path := range []string{"/traces", fmt.Sprintf("/traces/%x", "0123456789abcdef")} {
		b.open(path)
		if title := ask[string](b, "document.title"); title == "owned" || ask[int](b, "document.querySelectorAll('main script, main img').length") > 0 {
			t.Errorf("%s ran or showed what a span said", path)
		}
		if !strings.Contains(b.text("main"), "<script>") {
			t.Errorf("%s does not show the text", path)
		}
	}
}
