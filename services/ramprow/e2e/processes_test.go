package e2e_test

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math/rand/v2"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/health/grpc_health_v1"

	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/rpc"
	"ramprow/internal/platform/telemetry"
	jobv1 "ramprow/proto/ramprow/job/v1"
	"ramprow/services/ramprow/story"
	"ramprow/services/terminal"
)

// programs are what the test runs beside itself. Where one is missing the test
// is skipped, but never in CI: there RAMPROW_NATS_SERVER names the broker that
// the check script built, and redis-server comes from the system's packages.
type programs struct{ ramprow, nats, redis string }

func findPrograms(t *testing.T) programs {
	t.Helper()
	var p programs
	var err error
	if p.nats = os.Getenv("RAMPROW_NATS_SERVER"); p.nats == "" {
		p.nats, err = exec.LookPath("nats-server")
	}
	if err == nil {
		p.redis, err = exec.LookPath("redis-server")
	}
	switch {
	case err != nil && os.Getenv("CI") == "true":
		t.Fatal(err)
	case err != nil:
		t.Skip("needs nats-server and redis-server: ", err)
	}
	if p.ramprow, err = built(); err != nil {
		t.Fatal(err)
	}
	return p
}

// town is a workshop of one process per role, over a NATS and a Redis server outside.
type town struct {
	t         *testing.T
	programs  programs
	env       []string
	addresses map[string]string
	metrics   map[string]string // of roles that tell theirs
	nats      string
	redis     string
	roles     map[string]*exec.Cmd
	signer    *identity.Signer
}

// openTown starts every role, after whatever must be there first.
func openTown(t *testing.T, first ...func(*town)) *town {
	t.Helper()
	w := &town{t: t, programs: findPrograms(t), addresses: map[string]string{}, metrics: map[string]string{}, roles: map[string]*exec.Cmd{}}
	dir := t.TempDir()
	key, err := identity.NewKey()
	if err != nil {
		t.Fatal(err)
	}
	public := filepath.Join(dir, "token-key.pub.pem")
	if err := key.WritePublicKey(public); err != nil {
		t.Fatal(err)
	}
	w.signer = identity.NewSigner(identity.SignerConfig{Key: key})
	w.nats = "nats://" + w.startBroker(dir)
	w.redis = w.startRedis(dir)
	w.env = append(os.Environ(), "NATS_URL="+w.nats, "REDIS_URL=redis://"+w.redis, "RAMPROW_TOKEN_KEYS="+public)
	for _, prepare := range first {
		prepare(w)
	}
	for _, role := range terminal.RoleNames() {
		w.addresses[role], w.metrics[role] = freeAddress(t), freeAddress(t)
		w.start(role)
	}
	return w
}

// given holds the addresses that freeAddress has given.
var given sync.Map

// freeAddress gives an address that a program to be started can listen on. Its
// port lies below those from which the system takes the near ends of
// connections, so that none of these is there first.
func freeAddress(t *testing.T) string {
	t.Helper()
	for range 100 {
		address := net.JoinHostPort("127.0.0.1", strconv.Itoa(20_000+rand.IntN(12_000)))
		l, err := net.Listen("tcp", address)
		if err != nil {
			continue
		}
		_ = l.Close()
		if _, taken := given.LoadOrStore(address, true); !taken {
			return address
		}
	}
	t.Fatal("no port is free")
	return ""
}

func (w *town) startBroker(dir string) string {
	address := freeAddress(w.t)
	host, port, _ := net.SplitHostPort(address)
	config := filepath.Join(dir, "nats.conf")
	text := fmt.Sprintf("host: %s\nport: %s\nmax_payload: 8MB\njetstream { store_dir: %q, sync_interval: always }\n", host, port, filepath.Join(dir, "nats"))
	if err := os.WriteFile(config, []byte(text), 0o600); err != nil {
		w.t.Fatal(err)
	}
	w.run(exec.Command(w.programs.nats, "-c", config))
	w.awaitPort(address)
	return address
}

func (w *town) startRedis(dir string) string {
	address := freeAddress(w.t)
	_, port, _ := net.SplitHostPort(address)
	w.run(exec.Command(w.programs.redis, "--bind", "127.0.0.1", "--port", port, "--dir", dir, "--save", "", "--appendonly", "no", "--maxmemory-policy", "noeviction"))
	w.awaitPort(address)
	return address
}

// run starts a program that ends with the test at the latest.
func (w *town) run(cmd *exec.Cmd) *exec.Cmd {
	w.t.Helper()
	cmd.Stdout, cmd.Stderr = io.Discard, io.Discard
	// Should the test itself be killed, what it started goes with it.
	cmd.SysProcAttr = &syscall.SysProcAttr{Pdeathsig: syscall.SIGKILL}
	if err := cmd.Start(); err != nil {
		w.t.Fatal(err)
	}
	w.t.Cleanup(func() {
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
	})
	return cmd
}

func (w *town) awaitPort(address string) {
	w.t.Helper()
	w.eventually("port "+address, func() error {
		conn, err := net.DialTimeout("tcp", address, time.Second)
		if err == nil {
			err = conn.Close()
		}
		return err
	})
}

// eventually asks until there is no error, for at most the patience of a test.
func (w *town) eventually(what string, ask func() error) {
	w.t.Helper()
	deadline := time.NewTimer(30 * time.Second)
	defer deadline.Stop()
	tick := time.NewTicker(20 * time.Millisecond)
	defer tick.Stop()
	for {
		err := ask()
		if err == nil {
			return
		}
		select {
		case <-deadline.C:
			w.t.Fatalf("waited too long for %s: %v", what, err)
		case <-tick.C:
		}
	}
}

// start runs a role and waits until it says that it serves. A replica is named as
// in job/2.
func (w *town) start(name string) {
	w.t.Helper()
	role, _, _ := strings.Cut(name, "/")
	cmd := exec.Command(w.programs.ramprow, "serve", role, "--listen", w.addresses[name])
	cmd.Env = append(slices.Clip(w.env), "RAMPROW_METRICS_LISTEN="+w.metrics[name])
	w.roles[name] = w.run(cmd)
	conn, err := grpc.NewClient(w.addresses[name], grpc.WithTransportCredentials(insecure.NewCredentials()))
	if err != nil {
		w.t.Fatal(err)
	}
	defer func() { _ = conn.Close() }()
	w.eventually(name+" to serve", func() error {
		ctx, cancel := context.WithTimeout(context.Background(), time.Second)
		defer cancel()
		r, err := grpc_health_v1.NewHealthClient(conn).Check(ctx, &grpc_health_v1.HealthCheckRequest{})
		if err == nil && r.GetStatus() != grpc_health_v1.HealthCheckResponse_SERVING {
			err = errors.New(r.GetStatus().String())
		}
		return err
	})
}

// kill ends a role as a power cut would.
func (w *town) kill(role string) {
	w.t.Helper()
	if err := w.roles[role].Process.Signal(syscall.SIGKILL); err != nil {
		w.t.Fatal(err)
	}
	_ = w.roles[role].Wait() // it was killed: that is its error
}

// stop ends a role as an operator does, who waits until it has drained.
func (w *town) stop(role string) {
	w.t.Helper()
	if err := w.roles[role].Process.Signal(syscall.SIGTERM); err != nil {
		w.t.Fatal(err)
	}
	if err := w.roles[role].Wait(); err != nil {
		w.t.Errorf("%s ended with %v", role, err)
	}
}

// flushRedis empties Redis, as an operator's slip would.
func (w *town) flushRedis() error {
	conn, err := net.Dial("tcp", w.redis)
	if err != nil {
		return err
	}
	defer func() { _ = conn.Close() }()
	if _, err := io.WriteString(conn, "FLUSHALL\r\n"); err != nil {
		return err
	}
	answer, err := bufio.NewReader(conn).ReadString('\n')
	if err == nil && !strings.HasPrefix(answer, "+OK") {
		err = errors.New(strings.TrimSpace(answer))
	}
	return err
}

// The same story over one process per role: in the middle of the work each
// service in turn is killed and started again, and Redis is emptied.
func TestStoryOverProcessesSurvivesKills(t *testing.T) {
	w := openTown(t)
	tel, err := telemetry.Start(t.Context(), telemetry.Config{Service: "ramprow-e2e", Log: io.Discard, LogLevel: slog.LevelError, Getenv: func(string) string { return "" }})
	if err != nil {
		t.Fatal(err)
	}
	clients, err := terminal.Dial(terminal.DialConfig{Addresses: w.addresses, Telemetry: tel})
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = clients.Close() }()
	token := func(person string, role identity.Role) (string, error) {
		return w.signer.Issue(identity.Identity{Site: site, Person: person, Roles: []identity.Role{role}}, time.Hour, time.Now())
	}
	ending, err := story.Tell(t.Context(), story.Config{
		Clients: clients, Token: token, Out: io.Discard, Now: time.Now,
		Halfway: func(context.Context) error {
			for _, role := range terminal.RoleNames() {
				w.kill(role)
			}
			for _, role := range terminal.RoleNames() {
				w.start(role)
			}
			return w.flushRedis()
		},
	})
	if err != nil {
		t.Fatal(err)
	}
	w.kill(terminal.RoleJob)
	w.start(terminal.RoleJob)
	owner, err := token("ines", identity.Owner)
	if err != nil {
		t.Fatal(err)
	}
	job, err := clients.Job.GetJob(rpc.WithToken(t.Context(), owner), &jobv1.GetJobRequest{Job: ending.Job})
	if err != nil {
		t.Fatal(err)
	}
	if got := job.GetJob().GetInvoice().GetNumber(); got != ending.Invoice || got == "" {
		t.Errorf("after the kills the invoice is %q, the story closed %q", got, ending.Invoice)
	}
	w.tellsMetrics()
}
