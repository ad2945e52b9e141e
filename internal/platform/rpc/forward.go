package rpc

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"go.opentelemetry.io/contrib/instrumentation/google.golang.org/grpc/otelgrpc"
	"go.opentelemetry.io/otel/metric/noop"
	"google.golang.org/grpc"
	"google.golang.org/grpc/backoff"
	"google.golang.org/grpc/keepalive"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/identity"
)

// Forwarding sends commands to the replica that does the work of the caller's
// site. Reads and streams are answered by any replica.
type Forwarding struct {
	// Elsewhere gives the address of that replica as host:port; "" if the call is
	// to be answered here.
	Elsewhere func(site string) string
	// TLS is required for addresses outside the loopback.
	TLS *ClientTLS
}

const (
	// forwardedMark stands in a call's metadata once it has been sent on. It is
	// then answered where it arrives: two replicas that take each other for the
	// right one would send it back and forth.
	forwardedMark = "ramprow-forwarded"
	// holderRetry is when a call that could not be sent on may be tried again: a
	// replica that is gone is replaced within seconds.
	holderRetry = 500 * time.Millisecond
	// holderLook is how often a call that was sent on looks whether the replica that
	// has it still does the work. One that was stopped answers nothing, and keeps
	// its connections.
	holderLook = 250 * time.Millisecond
)

// forwarder keeps a connection to each replica that calls were sent on to.
type forwarder struct {
	Forwarding

	server *Server
	mu     sync.Mutex
	conns  map[string]*grpc.ClientConn
}

// raw is a message's bytes, which nobody decodes on their way.
type raw []byte

// target tells where a call is to be answered; "" for here.
func (f *forwarder) target(ctx context.Context, m *method) string {
	if f == nil || !m.command || len(metadata.ValueFromIncomingContext(ctx, forwardedMark)) > 0 {
		return ""
	}
	who, ok := identity.FromContext(ctx)
	if !ok {
		return ""
	}
	return f.Elsewhere(who.Site)
}

// forward sends a call on as it came, with its token and what is left of its time.
func (f *forwarder) forward(ctx context.Context, m *method, address string, decode func(any) error) (any, error) {
	var request, response raw
	if err := decode(&request); err != nil {
		return nil, err
	}
	conn, err := f.conn(address)
	if err != nil {
		return nil, err
	}
	md := metadata.Pairs(forwardedMark, "1")
	md.Set("authorization", metadata.ValueFromIncomingContext(ctx, "authorization")...)
	var trailer metadata.MD
	sent, end := f.whileThere(ctx, address)
	defer end()
	err = conn.Invoke(metadata.NewOutgoingContext(sent, md), m.name, &request, &response, grpc.Trailer(&trailer))
	if err == nil {
		return &response, nil
	}
	if ctx.Err() != nil {
		return nil, ended(ctx)
	}
	if sent.Err() != nil {
		return nil, holderAway(address).Because(err)
	}
	answer := status.Convert(err)
	if len(answer.Details()) == 0 {
		// The transport's own words. The call may have been answered all the same.
		return nil, holderAway(address).Because(err)
	}
	if wait := trailer.Get(pushbackKey); len(wait) > 0 {
		err = errors.Join(err, grpc.SetTrailer(ctx, metadata.Pairs(pushbackKey, wait[0])))
	}
	return nil, answered{status: answer, cause: err}
}

// whileThere gives a context that ends when the replica at an address does the
// work of the caller's site no longer.
func (f *forwarder) whileThere(ctx context.Context, address string) (context.Context, context.CancelFunc) {
	ctx, end := context.WithCancel(ctx)
	who, _ := identity.FromContext(ctx) // target has asked for it
	go func() {
		look := time.NewTicker(holderLook)
		defer look.Stop()
		for {
			select {
			case <-look.C:
				if f.Elsewhere(who.Site) != address {
					end()
				}
			case <-ctx.Done():
				return
			}
		}
	}()
	return ctx, end
}

func holderAway(address string) *fault.Error {
	return fault.New(fault.Unavailable, "REPLICA_AWAY",
		"the replica at work for this site cannot be reached, another takes over in a moment; send the same request_id again").
		With("replica", address).Retry(holderRetry)
}

// answered is another replica's refusal, which is the caller's as it is.
type answered struct {
	status *status.Status
	cause  error
}

// Error implements error.
func (a answered) Error() string { return a.cause.Error() }

// conn gives the connection to a replica. There are few of them in a server's life.
func (f *forwarder) conn(address string) (*grpc.ClientConn, error) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if conn, ok := f.conns[address]; ok {
		return conn, nil
	}
	creds, err := ClientConfig{Telemetry: f.server.cfg.Telemetry, Target: address, TLS: f.TLS}.transport()
	if err != nil {
		return nil, err
	}
	conn, err := grpc.NewClient("passthrough:///"+address,
		grpc.WithTransportCredentials(creds),
		grpc.WithStatsHandler(otelgrpc.NewClientHandler(
			otelgrpc.WithTracerProvider(f.server.cfg.Telemetry.TracerProvider()),
			otelgrpc.WithPropagators(f.server.cfg.Telemetry.Propagator()),
			otelgrpc.WithMeterProvider(noop.NewMeterProvider()),
		)),
		grpc.WithDefaultCallOptions(grpc.ForceCodecV2(newCodec()), grpc.MaxCallRecvMsgSize(maxAnswerBytes)),
		// The caller tries again, and by then another replica may be the right one.
		grpc.WithDisableRetry(),
		// A replica that was started again is found again within a second.
		grpc.WithConnectParams(grpc.ConnectParams{MinConnectTimeout: 2 * time.Second, Backoff: backoff.Config{
			BaseDelay: 50 * time.Millisecond, Multiplier: 2, Jitter: 0.2, MaxDelay: time.Second,
		}}),
		grpc.WithKeepaliveParams(keepalive.ClientParameters{Time: 10 * time.Second, Timeout: 3 * time.Second}),
	)
	if err != nil {
		return nil, fmt.Errorf("call the replica %s: %w", address, err)
	}
	f.conns[address] = conn
	return conn, nil
}

// close ends the connections.
func (f *forwarder) close() error {
	if f == nil {
		return nil
	}
	f.mu.Lock()
	defer f.mu.Unlock()
	var failures []error
	for _, conn := range f.conns {
		failures = append(failures, conn.Close())
	}
	clear(f.conns)
	return errors.Join(failures...)
}
