package rpc_test

import (
	"bytes"
	"context"
	"errors"
	"net"
	"sync"
	"testing"
	"time"

	"google.golang.org/grpc"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/rpc"
	"ramprow/internal/platform/telemetry"
	logv1 "ramprow/proto/ramprow/log/v1"
)

// patience bounds what a test waits for; nothing waits that long unless it is broken.
const patience = 20 * time.Second

// bench is one server with what it needs, on the loopback or a pipe.
type bench struct {
	t         testing.TB
	telemetry *telemetry.Telemetry
	log       *logBuffer
	key       identity.Key
	server    *rpc.Server
	served    chan error
	client    rpc.ClientConfig
}

// setup is what a test wants different.
type setup struct {
	server    rpc.ServerConfig
	telemetry telemetry.Config
	overPipe  bool
	key       *identity.Key // signs the tokens; nil makes a fresh one
	register  func(*rpc.Server)
}

func newTelemetry(t testing.TB, cfg telemetry.Config) *telemetry.Telemetry {
	t.Helper()
	cfg.Service, cfg.Getenv = "probe", func(string) string { return "" }
	tel, err := telemetry.Start(context.Background(), cfg)
	if err != nil {
		t.Fatal(err)
	}
	return tel
}

// newServer makes a server that does not serve yet.
func newServer(t testing.TB, s setup) *bench {
	t.Helper()
	b := &bench{t: t, log: &logBuffer{}, served: make(chan error, 1)}
	s.telemetry.Log = b.log
	b.telemetry = newTelemetry(t, s.telemetry)
	var err error
	if s.key != nil {
		b.key = *s.key
	} else if b.key, err = identity.NewKey(); err != nil {
		t.Fatal(err)
	}
	s.server.Telemetry = b.telemetry
	if s.server.Verifier, err = identity.NewVerifier(identity.VerifierConfig{Keys: keysOf(b.key)}); err != nil {
		t.Fatal(err)
	}
	if b.server, err = rpc.NewServer(s.server); err != nil {
		t.Fatal(err)
	}
	if s.register != nil {
		s.register(b.server)
	}
	b.client.Telemetry = b.telemetry
	return b
}

// start serves, and shuts down when the test ends.
func start(t testing.TB, s setup) *bench {
	t.Helper()
	b := newServer(t, s)
	var listener net.Listener
	if s.overPipe {
		b.client.Pipe = rpc.NewPipe()
		listener = b.client.Pipe
	} else {
		listener = listen(t, "127.0.0.1:0")
		b.client.Target = listener.Addr().String()
	}
	go func() { b.served <- b.server.Serve(listener) }()
	t.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.Background(), patience)
		defer cancel()
		if err := b.server.Shutdown(ctx); err != nil {
			t.Errorf("shutdown: %v", err)
		}
		if err := <-b.served; err != nil {
			t.Errorf("serve: %v", err)
		}
	})
	return b
}

func listen(t testing.TB, address string) net.Listener {
	t.Helper()
	listener, err := net.Listen("tcp", address)
	if err != nil {
		t.Fatal(err)
	}
	return listener
}

// dial connects a client whose calls carry a token with the roles; none, no token.
func (b *bench) dial(roles ...identity.Role) *grpc.ClientConn {
	b.t.Helper()
	cfg := b.client
	if len(roles) > 0 {
		token := b.token(roles...)
		cfg.Token = func(context.Context) (string, error) { return token, nil }
	}
	conn, err := rpc.Dial(cfg)
	if err != nil {
		b.t.Fatal(err)
	}
	b.t.Cleanup(func() { _ = conn.Close() })
	return conn
}

func (b *bench) token(roles ...identity.Role) string {
	b.t.Helper()
	id := identity.Identity{Site: "north", Person: "ada", Roles: roles}
	token, err := identity.NewSigner(identity.SignerConfig{Key: b.key}).Issue(id, time.Hour, time.Now())
	if err != nil {
		b.t.Fatal(err)
	}
	return token
}

// fakeLog is the service under test; nil functions answer emptily.
type fakeLog struct {
	logv1.UnimplementedLogServiceServer

	describe func(context.Context) (*logv1.DescribeLogResponse, error)
	drop     func(*logv1.DropParkedRequest) (*logv1.DropParkedResponse, error)
}

func (f *fakeLog) DescribeLog(ctx context.Context, _ *logv1.DescribeLogRequest) (*logv1.DescribeLogResponse, error) {
	if f.describe == nil {
		return &logv1.DescribeLogResponse{Service: "job"}, nil
	}
	return f.describe(ctx)
}

func (f *fakeLog) DropParked(_ context.Context, in *logv1.DropParkedRequest) (*logv1.DropParkedResponse, error) {
	if f.drop == nil {
		return &logv1.DropParkedResponse{}, nil
	}
	return f.drop(in)
}

// withLog serves a fake log.
func withLog(f *fakeLog) func(*rpc.Server) {
	return func(s *rpc.Server) { logv1.RegisterLogServiceServer(s, f) }
}

// answering serves a log whose DescribeLog fails as told.
func answering(err func(context.Context) error) func(*rpc.Server) {
	return withLog(&fakeLog{describe: func(ctx context.Context) (*logv1.DescribeLogResponse, error) {
		return nil, err(ctx)
	}})
}

func withProbe(p *probe) func(*rpc.Server) {
	return func(s *rpc.Server) { s.RegisterService(probeDesc(probeService), p) }
}

// wantFault demands a fault of a kind and a reason.
func wantFault(t testing.TB, err error, kind fault.Kind, reason string) {
	t.Helper()
	_ = gotFault(t, err, kind, reason)
}

// gotFault demands one too, and gives it.
func gotFault(t testing.TB, err error, kind fault.Kind, reason string) *fault.Error {
	t.Helper()
	f, ok := errors.AsType[*fault.Error](err)
	if !ok {
		t.Fatalf("got %v, want a fault %s", err, reason)
	}
	if f.Kind != kind || f.Reason != reason {
		t.Fatalf("got %s %s (%v), want %s %s", f.Kind, f.Reason, err, kind, reason)
	}
	return f
}

// logBuffer takes log lines from many goroutines.
type logBuffer struct {
	mu   sync.Mutex
	text bytes.Buffer
}

func (l *logBuffer) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.Write(p)
}

func (l *logBuffer) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.String()
}

func soon(t testing.TB) context.Context {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), patience)
	t.Cleanup(cancel)
	return ctx
}
