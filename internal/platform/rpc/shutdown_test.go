package rpc_test

import (
	"context"
	"errors"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/health/grpc_health_v1"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/rpc"
	logv1 "ramprow/proto/ramprow/log/v1"
)

// untilEnd is a stream that lives until its context ends, as Watch methods do.
func untilEnd(began chan<- struct{}) func(grpc.ServerStream) error {
	return func(stream grpc.ServerStream) error {
		close(began)
		<-stream.Context().Done()
		return stream.Context().Err()
	}
}

func TestShutdownEndsOpenStreams(t *testing.T) {
	began := make(chan struct{})
	b := start(t, setup{register: withProbe(&probe{chat: untilEnd(began)})})
	stream := openChat(t, b.dial(identity.Technician))
	<-began
	if err := b.server.Shutdown(soon(t)); err != nil {
		t.Fatalf("an open stream kept the server from stopping: %v", err)
	}
	f := gotFault(t, stream.RecvMsg(new(logv1.ListParkedResponse)), fault.Unavailable, "SERVER_STOPPING")
	if f.RetryAfter <= 0 {
		t.Error("the client is not told when to come again")
	}
}

func TestShutdownLetsCallsFinish(t *testing.T) {
	began, release := make(chan struct{}), make(chan struct{})
	b := start(t, setup{register: withLog(&fakeLog{describe: func(ctx context.Context) (*logv1.DescribeLogResponse, error) {
		close(began)
		<-release
		return &logv1.DescribeLogResponse{Revision: 7}, ctx.Err()
	}})})
	conn := b.dial(identity.Owner)
	answers := make(chan error, 1)
	go func() {
		answer, err := logv1.NewLogServiceClient(conn).DescribeLog(soon(t), &logv1.DescribeLogRequest{})
		if err == nil && answer.GetRevision() != 7 {
			err = errors.New("another answer")
		}
		answers <- err
	}()
	<-began
	watch, err := grpc_health_v1.NewHealthClient(conn).Watch(soon(t), &grpc_health_v1.HealthCheckRequest{})
	if err != nil {
		t.Fatal(err)
	}
	wantHealth(t, watch, grpc_health_v1.HealthCheckResponse_SERVING)
	stopped := make(chan error, 1)
	go func() { stopped <- b.server.Shutdown(soon(t)) }()
	for err == nil { // the watch is told to end while the call goes on
		_, err = watch.Recv()
	}
	select {
	case err := <-stopped:
		t.Fatalf("stopped with a call under way: %v", err)
	default:
	}
	close(release)
	if err := <-answers; err != nil {
		t.Errorf("the call under way: %v", err)
	}
	if err := <-stopped; err != nil {
		t.Errorf("shutdown: %v", err)
	}
}

func TestShutdownCutsOffWhatTakesTooLong(t *testing.T) {
	began, release := make(chan struct{}), make(chan struct{})
	b := start(t, setup{register: withProbe(&probe{strike: func(context.Context, *logv1.ListParkedRequest) (*logv1.ListParkedResponse, error) {
		close(began)
		<-release // deaf to its context
		return &logv1.ListParkedResponse{}, nil
	}})})
	t.Cleanup(func() { close(release) })
	conn := b.dial(identity.Technician)
	answers := make(chan error, 1)
	go func() {
		answers <- conn.Invoke(soon(t), "/"+probeService+"/Strike", &logv1.ListParkedRequest{}, &logv1.ListParkedResponse{})
	}()
	<-began
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if err := b.server.Shutdown(ctx); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v, want the context's error", err)
	}
	wantFault(t, <-answers, fault.Unavailable, "UNAVAILABLE")
}

func TestReadinessDropsBeforeDraining(t *testing.T) {
	// The delay outlasts the test: whatever succeeds does so before draining.
	b := start(t, setup{server: rpc.ServerConfig{DrainDelay: time.Hour}, register: withLog(&fakeLog{})})
	conn := b.dial(identity.Owner)
	client := logv1.NewLogServiceClient(conn)
	if _, err := client.DescribeLog(soon(t), &logv1.DescribeLogRequest{}); err != nil {
		t.Fatal(err)
	}
	watch, err := grpc_health_v1.NewHealthClient(conn).Watch(soon(t), &grpc_health_v1.HealthCheckRequest{})
	if err != nil {
		t.Fatal(err)
	}
	wantHealth(t, watch, grpc_health_v1.HealthCheckResponse_SERVING)
	b.server.SetReady(false)
	wantHealth(t, watch, grpc_health_v1.HealthCheckResponse_NOT_SERVING)
	b.server.SetReady(true)
	wantHealth(t, watch, grpc_health_v1.HealthCheckResponse_SERVING)

	ctx, cancel := context.WithCancel(context.Background())
	stopped := make(chan error, 1)
	go func() { stopped <- b.server.Shutdown(ctx) }()
	wantHealth(t, watch, grpc_health_v1.HealthCheckResponse_NOT_SERVING)
	select {
	case err := <-b.served:
		t.Fatalf("already draining: %v", err)
	default:
	}
	cancel()
	if err := <-stopped; err != nil && !errors.Is(err, context.Canceled) {
		t.Errorf("stopping ended with %v", err)
	}
}

func wantHealth(t *testing.T, watch grpc_health_v1.Health_WatchClient, want grpc_health_v1.HealthCheckResponse_ServingStatus) {
	t.Helper()
	answer, err := watch.Recv()
	if err != nil || answer.GetStatus() != want {
		t.Fatalf("health is %v, %v; want %v", answer, err, want)
	}
}

func TestTheServerImposesADeadline(t *testing.T) {
	b := start(t, setup{
		server: rpc.ServerConfig{MaxUnaryTime: 20 * time.Millisecond},
		register: withLog(&fakeLog{describe: func(ctx context.Context) (*logv1.DescribeLogResponse, error) {
			<-ctx.Done()
			return nil, ctx.Err()
		}}),
	})
	_, err := logv1.NewLogServiceClient(b.dial(identity.Owner)).DescribeLog(soon(t), &logv1.DescribeLogRequest{})
	wantFault(t, err, fault.Deadline, "DEADLINE_EXCEEDED")
}

func TestTheCallersDeadlineHolds(t *testing.T) {
	b := start(t, setup{register: withLog(&fakeLog{describe: func(ctx context.Context) (*logv1.DescribeLogResponse, error) {
		<-ctx.Done()
		return nil, ctx.Err()
	}})})
	conn := b.dial(identity.Owner)
	ctx, cancel := context.WithTimeout(context.Background(), 20*time.Millisecond)
	defer cancel()
	_, err := logv1.NewLogServiceClient(conn).DescribeLog(ctx, &logv1.DescribeLogRequest{})
	if f, ok := errors.AsType[*fault.Error](err); !ok || f.Kind != fault.Deadline {
		t.Errorf("got %v", err)
	}
}

func TestTheClientImposesADeadline(t *testing.T) {
	seen := make(chan bool, 1)
	b := start(t, setup{register: withLog(&fakeLog{describe: func(ctx context.Context) (*logv1.DescribeLogResponse, error) {
		deadline, ok := ctx.Deadline()
		seen <- ok && time.Until(deadline) < time.Minute
		return &logv1.DescribeLogResponse{}, nil
	}})})
	if _, err := logv1.NewLogServiceClient(b.dial(identity.Owner)).DescribeLog(context.Background(), &logv1.DescribeLogRequest{}); err != nil {
		t.Fatal(err)
	}
	if !<-seen {
		t.Error("the call had no deadline")
	}
}

func TestServerNeedsItsParts(t *testing.T) {
	if _, err := rpc.NewServer(rpc.ServerConfig{}); err == nil {
		t.Error("a server without telemetry and verifier must be refused")
	}
	if _, err := rpc.Dial(rpc.ClientConfig{}); err == nil {
		t.Error("a client without telemetry and target must be refused")
	}
}
