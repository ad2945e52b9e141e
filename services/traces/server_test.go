package traces

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"net"
	"testing"
	"time"

	collector "go.opentelemetry.io/proto/otlp/collector/trace/v1"
	"google.golang.org/grpc"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/telemetry"
	tracesv1 "ramprow/proto/ramprow/traces/v1"
)

// listen serves a receiver until the test ends.
func listen(t *testing.T, s *Store) string {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	server := NewReceiver(s, insecure.NewCredentials())
	go func() { _ = server.Serve(listener) }()
	t.Cleanup(server.Stop)
	return listener.Addr().String()
}

func sender(t *testing.T, address string) collector.TraceServiceClient {
	t.Helper()
	conn, err := grpc.NewClient(address, grpc.WithTransportCredentials(insecure.NewCredentials()))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = conn.Close() })
	return collector.NewTraceServiceClient(conn)
}

// What a program's standard exporter sends by the standard variables arrives.
func TestAProgramExportsHere(t *testing.T) {
	s := NewStore(Limits{}, time.Now)
	t.Setenv("OTEL_EXPORTER_OTLP_ENDPOINT", "http://"+listen(t, s))
	t.Setenv("OTEL_EXPORTER_OTLP_COMPRESSION", "gzip")
	tel, err := telemetry.Start(t.Context(), telemetry.Config{Service: "probe", Log: io.Discard, LogLevel: slog.LevelError})
	if err != nil {
		t.Fatal(err)
	}
	ctx, span := tel.Tracer("test").Start(t.Context(), "a call")
	span.SetAttributes(telemetry.About(&tracesv1.FindTracesRequest{About: "jobs/17"}))
	span.End()
	if err := tel.Shutdown(t.Context()); err != nil {
		t.Fatal(err)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	r := s.traces[telemetry.TraceID(ctx)]
	if r == nil || r.name != "a call" || len(r.about) != 1 || r.about[0] != "jobs/17" {
		t.Errorf("the store has %+v", r)
	}
}

// By the protocol a sender learns how many spans were refused, and does not send
// them again (OTLP 1.x, 'Partial Success').
func TestPartialSuccess(t *testing.T) {
	s := NewStore(Limits{}, func() time.Time { return noon })
	bad := call(2, 2, "north")
	bad.TraceId = []byte("short")
	r, err := sender(t, listen(t, s)).Export(t.Context(), &collector.ExportTraceServiceRequest{ResourceSpans: from("p", call(1, 1, "north"), bad)})
	if err != nil || r.GetPartialSuccess().GetRejectedSpans() != 1 || r.GetPartialSuccess().GetErrorMessage() == "" {
		t.Errorf("%v, %v", r, err)
	}
	whole, err := sender(t, listen(t, s)).Export(t.Context(), &collector.ExportTraceServiceRequest{ResourceSpans: from("p", call(3, 3, "north"))})
	if err != nil || whole.GetPartialSuccess() != nil {
		t.Errorf("%v, %v", whole, err)
	}
}

// An export above the bound is refused before it is read, and costs nothing.
func TestAHugeExport(t *testing.T) {
	s := NewStore(Limits{}, func() time.Time { return noon })
	huge := call(1, 1, "north")
	huge.Name = string(bytes.Repeat([]byte("n"), maxExportBytes))
	_, err := sender(t, listen(t, s)).Export(t.Context(), &collector.ExportTraceServiceRequest{ResourceSpans: from("p", huge)})
	if status.Code(err) != codes.ResourceExhausted {
		t.Errorf("got %v", err)
	}
	if st := s.Standing(); st.Received+st.Refused != 0 {
		t.Errorf("the store has %+v", st)
	}
}

func owner(site string) context.Context {
	return identity.NewContext(context.Background(), identity.Identity{Site: site, Person: "ines", Roles: []identity.Role{identity.Owner}})
}

func TestServer(t *testing.T) {
	store := NewStore(Limits{}, func() time.Time { return noon })
	for n := range uint64(3) {
		store.Add(from("p", call(n+1, n+1, "north")))
	}
	s := NewServer(store)
	first, err := s.FindTraces(owner("north"), &tracesv1.FindTracesRequest{PageSize: 2})
	if err != nil || len(first.GetTraces()) != 2 || first.GetNextPageToken() == "" {
		t.Fatalf("%v, %v", first, err)
	}
	second, err := s.FindTraces(owner("north"), &tracesv1.FindTracesRequest{PageSize: 2, PageToken: first.GetNextPageToken()})
	if err != nil || len(second.GetTraces()) != 1 || second.GetNextPageToken() != "" {
		t.Errorf("%v, %v", second, err)
	}
	if _, err := s.FindTraces(owner("north"), &tracesv1.FindTracesRequest{PageToken: "x"}); fault.ReasonOf(err) != "PAGE_TOKEN_INVALID" {
		t.Errorf("a strange token: %v", err)
	}
	one, err := s.GetTrace(owner("north"), &tracesv1.GetTraceRequest{TraceId: fmt.Sprintf("%032x", 2)})
	if err != nil || len(one.GetSpans()) != 1 {
		t.Errorf("%v, %v", one, err)
	}
	for _, site := range []string{"south", "north"} {
		_, err := s.GetTrace(owner(site), &tracesv1.GetTraceRequest{TraceId: fmt.Sprintf("%032x", map[string]int{"south": 2, "north": 9}[site])})
		f, ok := errors.AsType[*fault.Error](err)
		if !ok || f.Kind != fault.NotFound || f.Reason != "TRACE_NOT_FOUND" {
			t.Errorf("%s: %v", site, err)
		}
	}
	d, err := s.DescribeStore(owner("north"), &tracesv1.DescribeStoreRequest{})
	if err != nil || d.GetTraces() != 3 || d.GetSpans() != 3 || d.GetBytes() == 0 || d.GetLimitBytes() != DefaultBytes || d.GetOldest() == nil {
		t.Errorf("%v, %v", d, err)
	}
}

// Whatever arrives, the store takes it or refuses it, and stays within its bounds.
func FuzzExport(f *testing.F) {
	for _, spans := range [][]byte{encode(f, failed(call(1, 1, "north"), "x").GetName()), {}, {0x0a}, bytes.Repeat([]byte{0x0a, 0x02, 0x12, 0x00}, 50)} {
		f.Add(spans)
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		in := &collector.ExportTraceServiceRequest{}
		if proto.Unmarshal(data, in) != nil {
			t.Skip()
		}
		s := NewStore(Limits{Bytes: 20000}, func() time.Time { return noon })
		s.Add(in.GetResourceSpans())
		if st := s.Standing(); st.Bytes > 20000 {
			t.Errorf("%d bytes", st.Bytes)
		}
		for key, r := range s.traces {
			for _, site := range append(r.sites, "") {
				if _, spans := s.Get(site, key); len(spans) > len(r.spans) {
					t.Errorf("%d spans of %d", len(spans), len(r.spans))
				}
			}
		}
	})
}

func encode(f *testing.F, name string) []byte {
	f.Helper()
	span := failed(call(1, 1, "north"), name)
	span.Attributes = append(span.Attributes, about("jobs/17"))
	data, err := proto.Marshal(&collector.ExportTraceServiceRequest{ResourceSpans: from("p", span)})
	if err != nil {
		f.Fatal(err)
	}
	return data
}

// A file that somebody has damaged ends, and never brings the store down.
func FuzzFrame(f *testing.F) {
	a, err := read(call(1, 1, "north"), "p", noon)
	if err != nil {
		f.Fatal(err)
	}
	data, err := proto.Marshal(a.span)
	if err != nil {
		f.Fatal(err)
	}
	f.Add(pack([]arrived{a}, [][]byte{data}, noon))
	f.Add([]byte{1, 0, 0, 0, 0, 0, 0, 0, 0})
	f.Fuzz(func(t *testing.T, data []byte) {
		frame, err := nextFrame(bytes.NewReader(data))
		if err != nil && frame != nil {
			t.Error("a damaged frame is given")
		}
		for _, bytes := range [][]byte{frame, data} {
			_ = unpack(bytes, func(_ time.Time, a arrived, _ []byte) {
				if a.span == nil {
					t.Error("a span is given that is none")
				}
			})
		}
	})
}

// What it takes to keep a trace of eight spans, and to find a job's among many.
func BenchmarkStore(b *testing.B) {
	fill := func(s *Store, n uint64) {
		for k := range uint64(8) {
			p := call(n+1, n*8+k+1, "north")
			p.Attributes = append(p.Attributes, about(fmt.Sprintf("jobs/%d", n%1000)))
			s.Add(from("p", p))
		}
	}
	b.Run("add", func(b *testing.B) {
		s := NewStore(Limits{}, func() time.Time { return noon })
		n := uint64(0)
		for b.Loop() {
			fill(s, n)
			n++
		}
	})
	s := NewStore(Limits{}, func() time.Time { return noon })
	for n := range uint64(20000) {
		fill(s, n)
	}
	for name, q := range map[string]Query{"job": {About: "jobs/7"}, "none is slow": {AtLeast: time.Hour}, "no such name": {Text: "nowhere"}} {
		b.Run(name, func(b *testing.B) {
			q.Site, q.Most = "north", 50
			for b.Loop() {
				s.Find(q)
			}
			b.ReportMetric(float64(s.Standing().Traces), "traces")
		})
	}
}
