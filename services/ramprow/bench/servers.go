package bench

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"time"

	"ramprow/internal/platform/config"
	"ramprow/internal/platform/lifecycle"
	"ramprow/internal/platform/telemetry"
	"ramprow/services/ramprow/stack"
)

// Programs are servers to start for measuring, each in a process of its own that
// ends with the measurement.
type Programs struct {
	NATS  string // path of a nats-server
	Redis string // path of a redis-server; empty: the embedded one
}

// Backend starts the servers and connects to them. Like the embedded broker,
// this one syncs every write.
func (p Programs) Backend(dir string, t *telemetry.Telemetry, closers *lifecycle.Closers) (*stack.Backend, error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, fmt.Errorf("make a folder for the servers: %w", err)
	}
	broker, err := p.startNATS(dir, closers)
	if err != nil {
		return nil, err
	}
	if p.Redis == "" {
		return stack.OutsideBroker(config.Broker{URL: broker}, t, closers)
	}
	redis, err := p.startRedis(dir, closers)
	if err != nil {
		return nil, err
	}
	return stack.Outside(config.Broker{URL: broker}, config.ReadModels{URL: redis}, t, closers)
}

func (p Programs) startNATS(dir string, closers *lifecycle.Closers) (url string, err error) {
	port, err := freePort()
	if err != nil {
		return "", err
	}
	settings := filepath.Join(dir, "nats.conf")
	text := fmt.Sprintf("host: 127.0.0.1\nport: %s\nmax_payload: 8MB\njetstream { store_dir: %q, sync_interval: always }\n",
		port, filepath.Join(dir, "outside"))
	if err := os.WriteFile(settings, []byte(text), 0o600); err != nil {
		return "", fmt.Errorf("configure the NATS server: %w", err)
	}
	return "nats://127.0.0.1:" + port, startProgram(port, closers, p.NATS, "-c", settings)
}

func (p Programs) startRedis(dir string, closers *lifecycle.Closers) (url string, err error) {
	port, err := freePort()
	if err != nil {
		return "", err
	}
	return "redis://127.0.0.1:" + port + "/0", startProgram(port, closers, p.Redis,
		"--bind", "127.0.0.1", "--port", port, "--dir", dir, "--save", "", "--appendonly", "no", "--maxmemory-policy", "noeviction")
}

func freePort() (string, error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return "", fmt.Errorf("find a free port: %w", err)
	}
	_, port, err := net.SplitHostPort(l.Addr().String())
	return port, errors.Join(err, l.Close())
}

// startProgram starts a server, and waits until it listens.
func startProgram(port string, closers *lifecycle.Closers, path string, args ...string) error {
	command := exec.Command(path, args...) //nolint:gosec // the caller names the program
	if err := command.Start(); err != nil {
		return fmt.Errorf("start %s: %w", path, err)
	}
	p := &program{path: path, ended: make(chan struct{})}
	go func() {
		p.why = command.Wait()
		close(p.ended)
	}()
	closers.Add(lifecycle.Closer{Name: path, Close: func(ctx context.Context) error {
		_ = command.Process.Signal(os.Interrupt) // it may have ended already
		select {
		case <-p.ended:
			return nil
		case <-ctx.Done():
			return command.Process.Kill()
		}
	}})
	return p.await(port)
}

// program is a server in a process of its own.
type program struct {
	path  string
	ended chan struct{}
	why   error // read it once ended is closed
}

// await waits until the program listens.
func (p *program) await(port string) error {
	tick := time.NewTicker(10 * time.Millisecond)
	defer tick.Stop()
	late := time.NewTimer(patience)
	defer late.Stop()
	for {
		conn, err := net.DialTimeout("tcp", "127.0.0.1:"+port, time.Second)
		if err == nil {
			return conn.Close()
		}
		select {
		case <-tick.C:
		case <-p.ended:
			return fmt.Errorf("%s ended at once (%w); run it by hand to see why", p.path, errors.Join(errEnded, p.why))
		case <-late.C:
			return fmt.Errorf("%s does not listen after %s: %w", p.path, patience, err)
		}
	}
}

var errEnded = errors.New("a server must stay")
