package rpc_test

import (
	"context"
	"fmt"
	"net"
	"sync"
	"syscall"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"

	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/metrics"
	"ramprow/internal/platform/telemetry"
	logv1 "ramprow/proto/ramprow/log/v1"
)

// bareClient calls a grpc.Server with nothing around it.
func bareClient(b *testing.B) logv1.LogServiceClient {
	b.Helper()
	server, listener := grpc.NewServer(), listen(b, "127.0.0.1:0")
	logv1.RegisterLogServiceServer(server, &fakeLog{})
	go func() { _ = server.Serve(listener) }()
	b.Cleanup(server.Stop)
	return dialBare(b, listener)
}

func dialBare(b *testing.B, listener net.Listener) logv1.LogServiceClient {
	b.Helper()
	conn, err := grpc.NewClient(listener.Addr().String(), grpc.WithTransportCredentials(insecure.NewCredentials()))
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { _ = conn.Close() })
	return logv1.NewLogServiceClient(conn)
}

// BenchmarkUnary compares gRPC alone with everything that this package puts
// around a call on both sides: tracing without exporter, deadline, token, role,
// validation, error mapping.
func BenchmarkUnary(b *testing.B) {
	for _, callers := range []int{1, 64} {
		b.Run(fmt.Sprintf("bare/callers=%d", callers), func(b *testing.B) {
			load(b, bareClient(b), callers)
		})
		b.Run(fmt.Sprintf("whole/callers=%d", callers), func(b *testing.B) {
			s := start(b, setup{register: withLog(&fakeLog{})})
			load(b, logv1.NewLogServiceClient(s.dial(identity.Owner)), callers)
		})
		b.Run(fmt.Sprintf("counted/callers=%d", callers), func(b *testing.B) {
			s := start(b, setup{telemetry: telemetry.Config{Metrics: metrics.New()}, register: withLog(&fakeLog{})})
			load(b, logv1.NewLogServiceClient(s.dial(identity.Owner)), callers)
		})
		b.Run(fmt.Sprintf("pipe/callers=%d", callers), func(b *testing.B) {
			s := start(b, setup{overPipe: true, register: withLog(&fakeLog{})})
			load(b, logv1.NewLogServiceClient(s.dial(identity.Owner)), callers)
		})
	}
}

// load makes b.N calls from several callers.
func load(b *testing.B, client logv1.LogServiceClient, callers int) {
	b.Helper()
	in := &logv1.DropParkedRequest{RequestId: "12345678", Id: "p1", Reason: "it came from a site that was closed"}
	if _, err := client.DropParked(context.Background(), in); err != nil { // connect first
		b.Fatal(err)
	}
	tickets := make(chan struct{}, b.N)
	for range b.N {
		tickets <- struct{}{}
	}
	close(tickets)
	b.ReportAllocs()
	b.ResetTimer()
	before := processorTime(b)
	var group sync.WaitGroup
	for range callers {
		group.Go(func() {
			for range tickets {
				if _, err := client.DropParked(context.Background(), in); err != nil {
					b.Error(err)
					return
				}
			}
		})
	}
	group.Wait()
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "calls/s")
	b.ReportMetric(float64((processorTime(b)-before).Nanoseconds())/float64(b.N), "cpu-ns/op")
}

// processorTime is what the process has used of all processors: unlike the
// clock it hardly depends on what else the machine does.
func processorTime(b *testing.B) time.Duration {
	b.Helper()
	var used syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &used); err != nil {
		b.Fatal(err)
	}
	return time.Duration(used.Utime.Nano() + used.Stime.Nano())
}
