package rpc

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/url"
	"strings"
	"time"

	"go.opentelemetry.io/contrib/instrumentation/google.golang.org/grpc/otelgrpc"
	"go.opentelemetry.io/otel/metric/noop"
	"google.golang.org/grpc"
	"google.golang.org/grpc/backoff"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/credentials/insecure"
	_ "google.golang.org/grpc/health" // the client's side of the health check
	"google.golang.org/grpc/keepalive"

	"ramprow/internal/platform/config"
	"ramprow/internal/platform/telemetry"
)

const (
	defaultCallTime = 30 * time.Second
	maxAnswerBytes  = 32 << 20
)

// ClientConfig is what a client needs. Telemetry and one of Target and Pipe are required.
type ClientConfig struct {
	Telemetry *telemetry.Telemetry
	// Target is host:port, or any gRPC target as in dns:///job:7101.
	Target string
	// Pipe is a server in this process; it goes before Target.
	Pipe *Pipe
	// TLS is required for targets outside the loopback, because tokens are secrets.
	TLS *ClientTLS
	// Token gives the token of each call; nil takes the one that WithToken put
	// into the call's context. An empty token is not sent.
	Token func(context.Context) (string, error)
	// CallTime bounds unary calls that bring no deadline; 30 s if zero.
	CallTime time.Duration
}

// Dial makes a client connection. It returns at once; the first call connects.
// Calls return *fault.Error.
func Dial(cfg ClientConfig) (*grpc.ClientConn, error) {
	if cfg.Telemetry == nil || cfg.Pipe == nil && cfg.Target == "" {
		return nil, errors.New("rpc: a client needs Telemetry and a Target or a Pipe")
	}
	if cfg.CallTime <= 0 {
		cfg.CallTime = defaultCallTime
	}
	if cfg.Token == nil {
		cfg.Token = tokenFromContext
	}
	creds, err := cfg.transport()
	if err != nil {
		return nil, err
	}
	service, err := serviceConfig()
	if err != nil {
		return nil, err
	}
	target, options := cfg.Target, cfg.options()
	if cfg.Pipe != nil {
		target = "passthrough:///pipe"
		options = append(options, grpc.WithContextDialer(cfg.Pipe.dial))
	}
	conn, err := grpc.NewClient(target, append(options,
		grpc.WithTransportCredentials(creds), grpc.WithDefaultServiceConfig(service))...)
	if err != nil {
		return nil, fmt.Errorf("call %s: %w", target, err)
	}
	return conn, nil
}

// transport decides between TLS and plain text, and refuses to send tokens over
// a network in the latter.
func (cfg ClientConfig) transport() (credentials.TransportCredentials, error) {
	switch {
	case cfg.Pipe != nil:
		return insecure.NewCredentials(), nil
	case cfg.TLS != nil:
		return clientCredentials(cfg.TLS, cfg.Telemetry.Logger())
	case onThisMachine(cfg.Target):
		return insecure.NewCredentials(), nil
	default:
		return nil, fmt.Errorf("%w: calling %s", ErrPlaintext, cfg.Target)
	}
}

func (cfg ClientConfig) options() []grpc.DialOption {
	return []grpc.DialOption{
		grpc.WithStatsHandler(otelgrpc.NewClientHandler(
			otelgrpc.WithTracerProvider(cfg.Telemetry.TracerProvider()),
			otelgrpc.WithPropagators(cfg.Telemetry.Propagator()),
			otelgrpc.WithMeterProvider(noop.NewMeterProvider()),
		)),
		grpc.WithPerRPCCredentials(tokenCredentials{source: cfg.Token, secure: cfg.TLS != nil && cfg.Pipe == nil}),
		grpc.WithUnaryInterceptor(cfg.unary),
		grpc.WithStreamInterceptor(stream),
		// A service that was away is found again within a second; by default the
		// client's patience grows to two minutes.
		grpc.WithConnectParams(grpc.ConnectParams{
			Backoff:           backoff.Config{BaseDelay: 50 * time.Millisecond, Multiplier: 1.6, Jitter: 0.2, MaxDelay: time.Second},
			MinConnectTimeout: 5 * time.Second,
		}),
		grpc.WithDefaultCallOptions(grpc.MaxCallRecvMsgSize(maxAnswerBytes)),
		grpc.WithKeepaliveParams(keepalive.ClientParameters{
			Time: 30 * time.Second, Timeout: 10 * time.Second, PermitWithoutStream: true,
		}),
	}
}

// unary gives every call a deadline and its error back as a fault.
func (cfg ClientConfig) unary(ctx context.Context, name string, request, response any, conn *grpc.ClientConn, invoke grpc.UnaryInvoker, opts ...grpc.CallOption) error {
	if _, ok := ctx.Deadline(); !ok {
		var cancel context.CancelFunc
		ctx, cancel = context.WithTimeout(ctx, cfg.CallTime)
		defer cancel()
	}
	return FromStatus(invoke(ctx, name, request, response, conn, opts...))
}

func stream(ctx context.Context, desc *grpc.StreamDesc, conn *grpc.ClientConn, name string, open grpc.Streamer, opts ...grpc.CallOption) (grpc.ClientStream, error) {
	s, err := open(ctx, desc, conn, name, opts...)
	if err != nil {
		return nil, FromStatus(err)
	}
	return clientStream{s}, nil
}

// clientStream gives a stream's errors back as faults.
type clientStream struct{ grpc.ClientStream }

// RecvMsg implements grpc.ClientStream.
func (s clientStream) RecvMsg(message any) error { return fromStream(s.ClientStream.RecvMsg(message)) }

// SendMsg implements grpc.ClientStream.
func (s clientStream) SendMsg(message any) error { return fromStream(s.ClientStream.SendMsg(message)) }

// fromStream leaves the end of a stream, which is no error, as callers compare it.
func fromStream(err error) error {
	if err == io.EOF { //nolint:errorlint // gRPC returns it bare
		return err
	}
	return FromStatus(err)
}

// onThisMachine tells whether a target can only be this machine.
func onThisMachine(target string) bool {
	if parsed, err := url.Parse(target); err == nil && parsed.Scheme == "unix" {
		return true
	}
	// dns:///host:port and passthrough:///host:port end in what is dialled.
	address := target[strings.LastIndex(target, "/")+1:]
	host, _, err := net.SplitHostPort(address)
	return err == nil && config.Loopback(host)
}
