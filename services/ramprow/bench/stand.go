package bench

import (
	"context"
	"crypto/ed25519"
	"errors"
	"log/slog"
	"net"
	"time"

	"google.golang.org/grpc"

	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/lifecycle"
	"ramprow/internal/platform/rpc"
	"ramprow/internal/platform/telemetry"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
	"ramprow/services/ramprow/stack"
)

// stand is a workshop at work with clients, and beside it a server of the same
// kind that has nothing behind it.
type stand struct {
	workshop   *stack.Workshop
	job        jobv1.JobServiceClient
	inventory  inventoryv1.InventoryServiceClient
	scheduling schedulingv1.SchedulingServiceClient
	hollow     *hollow
	bare       inventoryv1.InventoryServiceClient // calls hollow

	telemetry *telemetry.Telemetry
	conns     []*grpc.ClientConn
	server    *rpc.Server // of hollow
	stop      context.CancelFunc
	ended     chan error // of the workshop and of hollow's server
}

// open starts a stand. The recorder, if any, sees every span; without one none
// is recorded, as in a workshop that exports none.
func open(ctx context.Context, dir string, place Place, recorder *recorder) (*stand, error) {
	settings := telemetry.Config{Service: "ramprow-bench", LogLevel: slog.LevelError, Getenv: func(string) string { return "" }}
	if recorder != nil {
		settings.Processor = recorder
	}
	tel, err := telemetry.Start(ctx, settings)
	if err != nil {
		return nil, err
	}
	w := stack.WorkshopConfig{Dir: dir, Telemetry: tel, Improve: place.Improve}
	if place.Backend != nil {
		w.Backend = func(closers *lifecycle.Closers) (*stack.Backend, error) { return place.Backend(dir, tel, closers) }
	}
	workshop, err := stack.OpenWorkshop(ctx, w)
	if err != nil {
		return nil, err
	}
	// It is closed in order at the end, not torn away when ctx ends.
	running, stop := context.WithCancel(context.WithoutCancel(ctx))
	s := &stand{workshop: workshop, telemetry: tel, hollow: &hollow{}, stop: stop, ended: make(chan error, 2)}
	go func() { s.ended <- workshop.Run(running) }()
	address, err := s.serveHollow(dir)
	if err == nil {
		err = s.dial(address)
	}
	if err != nil {
		return nil, errors.Join(err, s.close())
	}
	return s, nil
}

// serveHollow starts the server without anything behind it, under the key of
// the workshop.
func (s *stand) serveHollow(dir string) (address string, err error) {
	key, err := identity.LoadOrCreateKey(stack.KeyFile(dir))
	if err != nil {
		return "", err
	}
	verifier, err := identity.NewVerifier(identity.VerifierConfig{Keys: []ed25519.PublicKey{key.Public()}})
	if err != nil {
		return "", err
	}
	server, err := rpc.NewServer(rpc.ServerConfig{Telemetry: s.telemetry, Verifier: verifier})
	if err != nil {
		return "", err
	}
	inventoryv1.RegisterInventoryServiceServer(server, s.hollow)
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return "", err
	}
	s.server = server
	go func() { s.ended <- server.Serve(listener) }()
	return listener.Addr().String(), nil
}

func (s *stand) dial(hollow string) error {
	addresses := s.workshop.Addresses()
	conns := map[string]*grpc.ClientConn{}
	for name, target := range map[string]string{
		"job": addresses["job"], "inventory": addresses["inventory"], "scheduling": addresses["scheduling"], "hollow": hollow,
	} {
		conn, err := rpc.Dial(rpc.ClientConfig{Telemetry: s.telemetry, Target: target})
		if err != nil {
			return err
		}
		s.conns = append(s.conns, conn)
		conns[name] = conn
	}
	s.job = jobv1.NewJobServiceClient(conns["job"])
	s.inventory = inventoryv1.NewInventoryServiceClient(conns["inventory"])
	s.scheduling = schedulingv1.NewSchedulingServiceClient(conns["scheduling"])
	s.bare = inventoryv1.NewInventoryServiceClient(conns["hollow"])
	return nil
}

// as gives a context in which calls are made by somebody with a role at a site.
func (s *stand) as(ctx context.Context, site string, role identity.Role) (context.Context, error) {
	token, err := s.workshop.Token(site, "bench", tokenLife, role)
	if err != nil {
		return nil, err
	}
	return rpc.WithToken(ctx, token), nil
}

// tokenLife is longer than any run.
const tokenLife = 12 * time.Hour

// close ends clients, servers and the workshop, and waits for them.
func (s *stand) close() error {
	var failures []error
	for _, conn := range s.conns {
		failures = append(failures, conn.Close())
	}
	if s.server != nil {
		ctx, cancel := context.WithTimeout(context.Background(), patience)
		defer cancel()
		failures = append(failures, s.server.Shutdown(ctx), <-s.ended)
	}
	s.stop()
	failures = append(failures, <-s.ended, s.telemetry.Shutdown(context.Background()))
	return errors.Join(failures...)
}

// patience bounds what is waited for outside the measurement.
const patience = 20 * time.Second
