package bench

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"os/exec"
	"path/filepath"
	"sync"
	"syscall"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/health/grpc_health_v1"

	"ramprow/internal/platform/embedded"
	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/rpc"
	"ramprow/internal/platform/sitelog/jetstream"
	"ramprow/internal/platform/telemetry"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// outpost is an inventory in a process of its own, which can be killed, over a
// broker and a Redis in this one, which stay.
type outpost struct {
	program   string
	env       []string
	address   string
	signer    *identity.Signer
	telemetry *telemetry.Telemetry
	endBroker func()
	redis     *embedded.Redis
	log       *jetstream.Log
	conn      *grpc.ClientConn
	inventory inventoryv1.InventoryServiceClient

	mu      sync.Mutex
	process *exec.Cmd
}

func openOutpost(ctx context.Context, program, dir string) (_ *outpost, err error) {
	s := &outpost{program: program}
	defer func() {
		if err != nil {
			err = errors.Join(err, s.close())
		}
	}()
	quiet := func(string) string { return "" }
	if s.telemetry, err = telemetry.Start(ctx, telemetry.Config{Service: "ramprow-bench", Log: io.Discard, LogLevel: slog.LevelError, Getenv: quiet}); err != nil {
		return nil, err
	}
	broker, err := embedded.StartNATS(filepath.Join(dir, "nats"), embedded.NATSOptions{Listen: "127.0.0.1:0"})
	if err != nil {
		return nil, err
	}
	s.endBroker = func() { embedded.StopNATS(broker) }
	if s.redis, err = embedded.StartRedis(); err != nil {
		return nil, err
	}
	if s.log, err = jetstream.Connect(jetstream.Options{InProcess: broker, Name: "ramprow-bench", Logger: s.telemetry.Logger()}); err != nil {
		return nil, err
	}
	key, err := identity.NewKey()
	if err != nil {
		return nil, err
	}
	public := filepath.Join(dir, "token-key.pub.pem")
	if err := key.WritePublicKey(public); err != nil {
		return nil, err
	}
	s.signer = identity.NewSigner(identity.SignerConfig{Key: key})
	port, err := freePort() // it comes back to it after each kill, so that clients find it again
	if err != nil {
		return nil, err
	}
	s.address = "127.0.0.1:" + port
	s.env = append(os.Environ(), "NATS_URL="+broker.ClientURL(), "REDIS_URL="+s.redis.URL(), "RAMPROW_TOKEN_KEYS="+public)
	if s.conn, err = rpc.Dial(rpc.ClientConfig{Telemetry: s.telemetry, Target: s.address}); err != nil {
		return nil, err
	}
	s.inventory = inventoryv1.NewInventoryServiceClient(s.conn)
	return s, s.start(ctx)
}

// start runs the process and waits until it serves.
func (s *outpost) start(ctx context.Context) error {
	process := exec.Command(s.program, "serve", "inventory", "--listen", s.address) //nolint:gosec // this program itself, or what a test puts in its place
	process.Env = s.env
	// Should this program be killed, what it started goes with it.
	process.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
	if err := process.Start(); err != nil {
		return fmt.Errorf("start the inventory: %w", err)
	}
	s.mu.Lock()
	s.process = process
	s.mu.Unlock()
	ctx, cancel := context.WithTimeout(ctx, 2*patience)
	defer cancel()
	tick := time.NewTicker(20 * time.Millisecond)
	defer tick.Stop()
	for {
		asked, end := context.WithTimeout(ctx, time.Second)
		r, err := grpc_health_v1.NewHealthClient(s.conn).Check(asked, &grpc_health_v1.HealthCheckRequest{})
		end()
		if err == nil && r.GetStatus() == grpc_health_v1.HealthCheckResponse_SERVING {
			return nil
		}
		select {
		case <-ctx.Done():
			return fmt.Errorf("wait for the inventory to serve: %w", ctx.Err())
		case <-tick.C:
		}
	}
}

// kill ends the process as a power cut would.
func (s *outpost) kill() error {
	s.mu.Lock()
	process := s.process
	s.process = nil
	s.mu.Unlock()
	if process == nil {
		return nil
	}
	err := process.Process.Signal(syscall.SIGKILL)
	_ = process.Wait() // it was killed: that is its error
	return err
}

// as gives a context in which somebody calls.
func (s *outpost) as(ctx context.Context, site string) (context.Context, error) {
	who := identity.Identity{Site: site, Person: "bench", Roles: []identity.Role{identity.PartsClerk}}
	token, err := s.signer.Issue(who, tokenLife, time.Now())
	if err != nil {
		return nil, err
	}
	return rpc.WithToken(ctx, token), nil
}

func (s *outpost) close() error {
	failures := []error{s.kill()}
	if s.conn != nil {
		failures = append(failures, s.conn.Close())
	}
	if s.log != nil {
		s.log.Close()
	}
	if s.redis != nil {
		failures = append(failures, s.redis.Close())
	}
	if s.endBroker != nil {
		s.endBroker()
	}
	if s.telemetry != nil {
		failures = append(failures, s.telemetry.Shutdown(context.Background()))
	}
	return errors.Join(failures...)
}
