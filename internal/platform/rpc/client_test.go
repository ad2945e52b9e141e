package rpc_test

import (
	"context"
	"errors"
	"sync/atomic"
	"testing"
	"time"

	sdktrace "go.opentelemetry.io/otel/sdk/trace"
	"go.opentelemetry.io/otel/sdk/trace/tracetest"
	"go.opentelemetry.io/otel/trace"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/rpc"
	"ramprow/internal/platform/telemetry"
	logv1 "ramprow/proto/ramprow/log/v1"
)

func TestRetries(t *testing.T) {
	away := func() *fault.Error { return fault.New(fault.Unavailable, "BROKER_AWAY", "the log is away; try again") }
	tests := []struct {
		name  string
		fail  error
		call  func(context.Context, *bench) error
		calls int32
	}{
		{"a query, UNAVAILABLE", away(), callDescribe, 3},
		{"a command with request_id, UNAVAILABLE", away(), callDrop, 3},
		{"a command without request_id, UNAVAILABLE", away(), callStrike, 1},
		{"a query that may come again soon", away().Retry(time.Millisecond), callDescribe, 3},
		{"a query that may come again after hours", away().Retry(time.Hour), callDescribe, 1},
		{"a query that may come again when the caller's time is up", away().Retry(2 * time.Second), callHastily, 1},
		{"a query, ABORTED", fault.New(fault.Conflict, "CONCURRENT_UPDATE", "read again"), callDescribe, 1},
		{"a query, RESOURCE_EXHAUSTED", fault.New(fault.Exhausted, "FULL", "later"), callDescribe, 1},
		{"a query, INTERNAL", errors.New("slip"), callDescribe, 1},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			var calls atomic.Int32
			fail := func() error {
				if calls.Add(1) < 3 {
					return tt.fail
				}
				return nil
			}
			b := start(t, setup{register: func(s *rpc.Server) {
				withLog(&fakeLog{
					describe: func(context.Context) (*logv1.DescribeLogResponse, error) { return &logv1.DescribeLogResponse{}, fail() },
					drop: func(*logv1.DropParkedRequest) (*logv1.DropParkedResponse, error) {
						return &logv1.DropParkedResponse{}, fail()
					},
				})(s)
				withProbe(&probe{strike: func(context.Context, *logv1.ListParkedRequest) (*logv1.ListParkedResponse, error) {
					return &logv1.ListParkedResponse{}, fail()
				}})(s)
			}})
			err := tt.call(soon(t), b)
			if calls.Load() != tt.calls {
				t.Errorf("called %d times, want %d (%v)", calls.Load(), tt.calls, err)
			}
			if succeeded := err == nil; succeeded != (tt.calls == 3) {
				t.Errorf("answer %v", err)
			}
		})
	}
}

func callDescribe(ctx context.Context, b *bench) error {
	_, err := logv1.NewLogServiceClient(b.dial(identity.Owner)).DescribeLog(ctx, &logv1.DescribeLogRequest{})
	return err
}

// callHastily has so little time that nothing is left after a retry's wait.
func callHastily(ctx context.Context, b *bench) error {
	ctx, cancel := context.WithTimeout(ctx, 1900*time.Millisecond)
	defer cancel()
	err := callDescribe(ctx, b)
	if fault.ReasonOf(err) != "BROKER_AWAY" {
		return nil // the reason was hidden
	}
	return err
}

func callDrop(ctx context.Context, b *bench) error {
	in := &logv1.DropParkedRequest{RequestId: "12345678", Id: "p1", Reason: "stale"}
	_, err := logv1.NewLogServiceClient(b.dial(identity.Owner)).DropParked(ctx, in)
	return err
}

func callStrike(ctx context.Context, b *bench) error {
	return b.dial(identity.Owner).Invoke(ctx, "/"+probeService+"/Strike", &logv1.ListParkedRequest{}, &logv1.ListParkedResponse{})
}

func TestNobodyListens(t *testing.T) {
	listener := listen(t, "127.0.0.1:0")
	address := listener.Addr().String()
	if err := listener.Close(); err != nil {
		t.Fatal(err)
	}
	conn, err := rpc.Dial(rpc.ClientConfig{Telemetry: newTelemetry(t, telemetry.Config{Log: &logBuffer{}}), Target: address})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = conn.Close() }()
	_, err = logv1.NewLogServiceClient(conn).DescribeLog(soon(t), &logv1.DescribeLogRequest{})
	if f := gotFault(t, err, fault.Unavailable, "UNAVAILABLE"); f.Message != "the service cannot be reached just now; try again in a moment" {
		t.Errorf("message %q", f.Message)
	}
}

func TestTokensOfTheContext(t *testing.T) {
	var asWhom string
	b := start(t, setup{register: withLog(&fakeLog{describe: func(ctx context.Context) (*logv1.DescribeLogResponse, error) {
		id, _ := identity.FromContext(ctx)
		asWhom = id.Person
		return &logv1.DescribeLogResponse{}, nil
	}})})
	client := logv1.NewLogServiceClient(b.dial()) // one connection for everybody
	if _, err := client.DescribeLog(rpc.WithToken(soon(t), b.token(identity.Owner)), &logv1.DescribeLogRequest{}); err != nil || asWhom != "ada" {
		t.Errorf("called as %q, %v", asWhom, err)
	}
	_, err := client.DescribeLog(soon(t), &logv1.DescribeLogRequest{})
	wantFault(t, err, fault.Unauthenticated, "TOKEN_MISSING")
}

func TestATokenThatCannotBeHadFailsTheCall(t *testing.T) {
	b := start(t, setup{register: withLog(&fakeLog{})})
	cfg := b.client
	cfg.Token = func(context.Context) (string, error) {
		return "", fault.New(fault.Unauthenticated, "SESSION_OVER", "sign in again")
	}
	conn, err := rpc.Dial(cfg)
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = conn.Close() }()
	_, err = logv1.NewLogServiceClient(conn).DescribeLog(soon(t), &logv1.DescribeLogRequest{})
	if fault.KindOf(err) != fault.Unauthenticated {
		t.Errorf("got %v", err)
	}
}

// One trace goes through the call, exporter or not, and the receipt names it.
func TestATraceGoesThrough(t *testing.T) {
	for name, exporter := range map[string]*tracetest.InMemoryExporter{"recorded": tracetest.NewInMemoryExporter(), "ids only": nil} {
		t.Run(name, func(t *testing.T) {
			var cfg telemetry.Config
			if exporter != nil {
				cfg.Processor = sdktrace.NewSimpleSpanProcessor(exporter)
			}
			b := start(t, setup{telemetry: cfg, register: withLog(&fakeLog{
				describe: func(ctx context.Context) (*logv1.DescribeLogResponse, error) {
					receipt := rpc.Receipt(ctx, rpc.Commitment{Revision: 3, CommittedAt: time.Unix(9, 0), Repeated: true})
					if receipt.GetRevision() != 3 || !receipt.GetRepeatedAnswer() || receipt.GetCommittedAt().GetSeconds() != 9 {
						t.Errorf("receipt %v", receipt)
					}
					return &logv1.DescribeLogResponse{Service: receipt.GetTraceId()}, nil
				},
			})})
			ctx, span := b.telemetry.Tracer("test").Start(soon(t), "press a button")
			answer, err := logv1.NewLogServiceClient(b.dial(identity.Owner)).DescribeLog(ctx, &logv1.DescribeLogRequest{})
			span.End()
			if err != nil {
				t.Fatal(err)
			}
			if want := span.SpanContext().TraceID().String(); answer.GetService() != want || len(want) != 32 {
				t.Errorf("the server saw trace %q, the client began %q", answer.GetService(), want)
			}
			if exporter == nil {
				return
			}
			if err := b.server.Shutdown(soon(t)); err != nil { // the server's span has ended then
				t.Fatal(err)
			}
			wantChain(t, exporter.GetSpans(), span.SpanContext().SpanID())
		})
	}
}

// wantChain demands that the server's span hangs under the client's, and this
// one under the root.
func wantChain(t *testing.T, spans tracetest.SpanStubs, root trace.SpanID) {
	t.Helper()
	byKind := map[trace.SpanKind]tracetest.SpanStub{}
	for _, s := range spans {
		byKind[s.SpanKind] = s
	}
	server, client := byKind[trace.SpanKindServer], byKind[trace.SpanKindClient]
	if server.Parent.SpanID() != client.SpanContext.SpanID() || client.Parent.SpanID() != root {
		t.Errorf("%d spans do not form a chain: %+v", len(spans), spans)
	}
	if server.Name != "ramprow.log.v1.LogService/DescribeLog" {
		t.Errorf("the server's span is called %q", server.Name)
	}
}
