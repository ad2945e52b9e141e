package rpc

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"slices"
	"sync"
	"time"

	"buf.build/go/protovalidate"
	"go.opentelemetry.io/contrib/instrumentation/google.golang.org/grpc/otelgrpc"
	"go.opentelemetry.io/contrib/instrumentation/google.golang.org/grpc/otelgrpc/filters"
	"go.opentelemetry.io/otel/metric/noop"
	"google.golang.org/grpc"
	"google.golang.org/grpc/health"
	"google.golang.org/grpc/health/grpc_health_v1"
	"google.golang.org/grpc/keepalive"
	"google.golang.org/grpc/reflection"
	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/telemetry"
)

const (
	maxReceiveBytes     = 8 << 20
	defaultMaxUnaryTime = 30 * time.Second
)

// ServerConfig is what a server needs. Telemetry and Verifier are required.
type ServerConfig struct {
	Telemetry *telemetry.Telemetry
	Verifier  *identity.Verifier
	// Service names the role in what is counted.
	Service string
	// TLS is required to listen anywhere but on the loopback.
	TLS *ServerTLS
	// MaxUnaryTime bounds every unary call; 30 s if zero.
	MaxUnaryTime time.Duration
	// Forwarding is for servers that share their sites with other replicas; nil:
	// every call is answered here.
	Forwarding *Forwarding
	// DrainDelay is the time on Shutdown between not being ready and refusing
	// calls, in which clients turn elsewhere. Zero is right for a single server.
	DrainDelay time.Duration
	// Reveal opens what a message for a caller at a site holds sealed, in a copy; nil: nothing is.
	Reveal func(ctx context.Context, site string, message proto.Message) proto.Message
}

// Server serves gRPC with health and reflection. Register services, then Serve.
type Server struct {
	cfg       ServerConfig
	log       *slog.Logger
	grpc      *grpc.Server
	health    *health.Server
	forwarder *forwarder // nil: every call is answered here
	methods   []*method
	failures  []error // found while registering, told by Serve
	prepare   sync.Once
	unfit     error // what prepare found
	validator protovalidate.Validator
	// draining ends when Shutdown wants streams to end.
	draining context.Context //nolint:containedctx // the server's own life, not a call's
	drain    context.CancelFunc
}

// NewServer makes a server.
func NewServer(cfg ServerConfig) (*Server, error) {
	if cfg.Telemetry == nil || cfg.Verifier == nil {
		return nil, errors.New("rpc: a server needs Telemetry and a Verifier")
	}
	if cfg.MaxUnaryTime <= 0 {
		cfg.MaxUnaryTime = defaultMaxUnaryTime
	}
	s := &Server{cfg: cfg, log: cfg.Telemetry.Logger(), health: health.NewServer()}
	if cfg.Forwarding != nil {
		s.forwarder = &forwarder{Forwarding: *cfg.Forwarding, server: s, conns: map[string]*grpc.ClientConn{}}
	}
	s.draining, s.drain = context.WithCancel(context.Background())
	options := append(s.options(), keepaliveOptions()...)
	creds, err := ServerCredentials(cfg.TLS, s.log)
	if err != nil {
		return nil, err
	}
	s.grpc = grpc.NewServer(append(options, grpc.Creds(creds))...)
	s.health.SetServingStatus("", grpc_health_v1.HealthCheckResponse_NOT_SERVING)
	grpc_health_v1.RegisterHealthServer(s, s.health)
	reflection.Register(s)
	return s, nil
}

func (s *Server) options() []grpc.ServerOption {
	return []grpc.ServerOption{
		grpc.StatsHandler(otelgrpc.NewServerHandler(
			otelgrpc.WithTracerProvider(s.cfg.Telemetry.TracerProvider()),
			otelgrpc.WithPropagators(s.cfg.Telemetry.Propagator()),
			otelgrpc.WithMeterProvider(noop.NewMeterProvider()),
			otelgrpc.WithFilter(filters.Not(filters.HealthCheck())),
		)),
		grpc.ForceServerCodecV2(newCodec()),
		grpc.MaxRecvMsgSize(maxReceiveBytes),
		grpc.UnknownServiceHandler(unknownMethod),
	}
}

// keepaliveOptions find dead peers, tolerate clients that ping every 10 s, and
// close connections now and then (gRPC spreads the age by ±10 %) so that new
// replicas get their share of them.
func keepaliveOptions() []grpc.ServerOption {
	return []grpc.ServerOption{
		grpc.KeepaliveParams(keepalive.ServerParameters{
			MaxConnectionAge:      15 * time.Minute,
			MaxConnectionAgeGrace: 5 * time.Minute,
			Time:                  time.Minute,
			Timeout:               20 * time.Second,
		}),
		grpc.KeepaliveEnforcementPolicy(keepalive.EnforcementPolicy{
			MinTime:             10 * time.Second,
			PermitWithoutStream: true,
		}),
	}
}

// RegisterService implements grpc.ServiceRegistrar for the generated code. What
// is wrong with a service is told by Serve.
func (s *Server) RegisterService(desc *grpc.ServiceDesc, impl any) {
	methods, err := describe(desc.ServiceName)
	if err != nil {
		s.failures = append(s.failures, err)
		return
	}
	wrapped := *desc
	wrapped.Methods = slices.Clone(desc.Methods)
	for i, d := range wrapped.Methods {
		wrapped.Methods[i].Handler = s.wrapUnary(methods[d.MethodName], d.Handler)
	}
	wrapped.Streams = slices.Clone(desc.Streams)
	for i, d := range wrapped.Streams {
		wrapped.Streams[i].Handler = s.wrapStream(methods[d.StreamName], d.Handler)
	}
	for _, m := range methods {
		s.methods = append(s.methods, m)
	}
	s.grpc.RegisterService(&wrapped, impl)
}

// GetServiceInfo implements reflection.ServiceInfoProvider.
func (s *Server) GetServiceInfo() map[string]grpc.ServiceInfo { return s.grpc.GetServiceInfo() }

// Serve answers calls on one listener until Shutdown, and may be called for
// several. It refuses to start with a method that has no access rule, with a
// validation rule that does not compile, and with plain text outside the loopback.
func (s *Server) Serve(listener net.Listener) error {
	err := s.check()
	if err == nil {
		err = s.mayListen(listener.Addr())
	}
	if err != nil {
		return errors.Join(err, listener.Close())
	}
	s.SetReady(true)
	if err := s.grpc.Serve(listener); err != nil && !errors.Is(err, grpc.ErrServerStopped) {
		return fmt.Errorf("serve %s: %w", listener.Addr(), err)
	}
	return nil
}

// check compiles what calls need and tells what registration found.
func (s *Server) check() error {
	s.prepare.Do(func() {
		if s.unfit = errors.Join(s.failures...); s.unfit == nil {
			s.validator, s.unfit = newValidator(s.methods)
		}
	})
	return s.unfit
}

// SetReady tells the health service whether calls are welcome. Serve says yes,
// Shutdown says no for good; in between it is the caller's to say.
func (s *Server) SetReady(yes bool) {
	state := grpc_health_v1.HealthCheckResponse_NOT_SERVING
	if yes {
		state = grpc_health_v1.HealthCheckResponse_SERVING
	}
	for service := range s.grpc.GetServiceInfo() {
		s.health.SetServingStatus(service, state)
	}
	s.health.SetServingStatus("", state)
}

// Shutdown stops the server: health says NOT_SERVING at once; after DrainDelay
// streams are told to end, and what is under way gets the context's time to
// finish. What is still under way then is cut off, which is the error returned.
func (s *Server) Shutdown(ctx context.Context) error {
	s.health.Shutdown()
	select {
	case <-time.After(s.cfg.DrainDelay):
	case <-s.draining.Done(): // called again
	case <-ctx.Done():
	}
	s.drain()
	done := make(chan struct{})
	go func() {
		defer close(done)
		s.grpc.GracefulStop()
	}()
	select {
	case <-done:
		return s.forwarder.close()
	case <-ctx.Done():
		// Contexts of calls end now. A handler that does not heed its own is left
		// behind: to wait for it could be to wait for ever.
		s.grpc.Stop()
		return errors.Join(fmt.Errorf("calls were cut off: %w", ctx.Err()), s.forwarder.close())
	}
}

// unknownMethod answers calls of what this server does not offer.
func unknownMethod(_ any, stream grpc.ServerStream) error {
	name, _ := grpc.MethodFromServerStream(stream)
	return ToStatus(fault.New(fault.Unimplemented, "METHOD_UNKNOWN", "this server does not know %s; ask the service that offers it", name).
		With("method", name)).Err()
}
