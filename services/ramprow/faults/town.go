package faults

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"google.golang.org/grpc"

	"ramprow/internal/platform/config"
	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/lifecycle"
	"ramprow/internal/platform/rpc"
	"ramprow/internal/platform/telemetry"
	"ramprow/services/ramprow/stack"
	"ramprow/services/terminal"
)

// replicasOf says how many processes have a role.
var replicasOf = map[string]int{terminal.RoleJob: 2, terminal.RoleInventory: 2, terminal.RoleScheduling: 1, terminal.RoleAudit: 1}

// replica is one process of a role, and the project's own connection to it.
type replica struct {
	*process
	role    string
	address string
	conn    *grpc.ClientConn
}

// town is a workshop of processes.
type town struct {
	programs  Programs
	dir       string
	ports     *ports
	telemetry *telemetry.Telemetry
	signer    *identity.Signer
	publicKey string

	brokers []*broker
	redis   *process
	redisAt string
	roles   map[string][]*replica

	// backend is the harness's own connection, for leases and logs.
	backend *stack.Backend
	closers *lifecycle.Closers

	mu       sync.Mutex
	deserted []string // processes that ended by themselves
}

// openTown starts everything, and waits until it serves.
func openTown(ctx context.Context, c Config, t *telemetry.Telemetry) (*town, error) {
	w := &town{
		programs: c.Programs, dir: c.Dir, ports: newPorts(c.Seed + uint64(os.Getpid())), telemetry: t, //nolint:gosec // a process id is positive
		roles: map[string][]*replica{}, closers: &lifecycle.Closers{},
	}
	if err := w.open(ctx, c); err != nil {
		w.close()
		return nil, err
	}
	return w, nil
}

func (w *town) open(ctx context.Context, c Config) (err error) {
	if err := w.makeKeys(); err != nil {
		return err
	}
	if err := w.openBrokers(ctx, c); err != nil {
		return err
	}
	if err := w.openRedis(ctx); err != nil {
		return err
	}
	for _, role := range terminal.RoleNames() {
		for i := range replicasOf[role] {
			if err := w.openRole(ctx, role, i+1); err != nil {
				return err
			}
		}
	}
	w.backend, err = stack.Outside(config.Broker{URL: w.brokerURLs(), Replicas: len(w.brokers)}, config.ReadModels{URL: w.redisURL()}, w.telemetry, w.closers)
	return err
}

func (w *town) makeKeys() error {
	key, err := identity.NewKey()
	if err != nil {
		return err
	}
	w.publicKey = filepath.Join(w.dir, "token-key.pub.pem")
	w.signer = identity.NewSigner(identity.SignerConfig{Key: key})
	return key.WritePublicKey(w.publicKey)
}

// process makes one whose end by itself is noted.
func (w *town) process(name string, command func() *exec.Cmd) *process {
	return &process{
		name: name, command: command, output: filepath.Join(w.dir, strings.ReplaceAll(name, "/", "-")+".log"),
		onEnd: func(p *process, state string) {
			w.mu.Lock()
			defer w.mu.Unlock()
			w.deserted = append(w.deserted, fmt.Sprintf("%s ended by itself: %s; see %s", p.name, state, p.output))
		},
	}
}

func (w *town) openRedis(ctx context.Context) error {
	address, err := w.ports.take()
	if err != nil {
		return err
	}
	_, port, _ := strings.Cut(address, ":")
	w.redisAt = address
	w.redis = w.process("redis", func() *exec.Cmd {
		return exec.Command(w.programs.Redis, "--bind", "127.0.0.1", "--port", port, "--dir", w.dir, //nolint:gosec // the operator names it
			"--save", "", "--appendonly", "no", "--maxmemory-policy", "noeviction")
	})
	return w.startRedis(ctx)
}

func (w *town) redisURL() string { return "redis://" + w.redisAt }

func (w *town) startRedis(ctx context.Context) error {
	if err := w.redis.start(); err != nil {
		return err
	}
	return eventually(ctx, "Redis", func(ctx context.Context) error { return listening(ctx, w.redisAt) })
}

func (w *town) openRole(ctx context.Context, role string, number int) error {
	address, err := w.ports.take()
	if err != nil {
		return err
	}
	conn, err := rpc.Dial(rpc.ClientConfig{Telemetry: w.telemetry, Target: address})
	if err != nil {
		return err
	}
	r := &replica{role: role, address: address, conn: conn}
	r.process = w.process(fmt.Sprintf("%s/%d", role, number), func() *exec.Cmd {
		cmd := exec.Command(w.programs.Ramprow, "serve", role, "--listen", address) //nolint:gosec // this very program
		cmd.Env = append(os.Environ(), "NATS_URL="+w.brokerURLs(), fmt.Sprintf("NATS_REPLICAS=%d", len(w.brokers)),
			"REDIS_URL="+w.redisURL(), "RAMPROW_TOKEN_KEYS="+w.publicKey)
		return cmd
	})
	w.roles[role] = append(w.roles[role], r)
	return w.startRole(ctx, r)
}

// startRole returns once the role says that it serves.
func (w *town) startRole(ctx context.Context, r *replica) error {
	if err := r.start(); err != nil {
		return err
	}
	ctx, cancel := r.alive(ctx)
	defer cancel()
	return eventually(ctx, r.name+" to serve", func(ctx context.Context) error { return serving(ctx, r.address) })
}

// everyReplica lists all processes of all roles.
func (w *town) everyReplica() []*replica {
	var all []*replica
	for _, role := range terminal.RoleNames() {
		all = append(all, w.roles[role]...)
	}
	return all
}

// unexpected gives the processes that ended by themselves since it was asked last.
func (w *town) unexpected() []string {
	w.mu.Lock()
	defer w.mu.Unlock()
	list := w.deserted
	w.deserted = nil
	return list
}

// token lets the owner act at a site for longer than any run.
func (w *town) token(site string) (string, error) {
	return w.signer.Issue(identity.Identity{Site: site, Person: "ines", Roles: []identity.Role{identity.Owner}}, 12*time.Hour, time.Now())
}

// close ends every process.
func (w *town) close() {
	for _, r := range w.everyReplica() {
		_ = r.conn.Close()
		r.process.close()
	}
	_ = w.closers.Close(context.Background()) // what it read is read
	if w.redis != nil {
		w.redis.close()
	}
	for _, b := range w.brokers {
		b.process.close()
	}
}

// running tells that every process that should run serves.
func (w *town) running(ctx context.Context) error {
	var failures []error
	for _, r := range w.everyReplica() {
		failures = append(failures, eventually(ctx, r.name+" to serve", func(ctx context.Context) error { return serving(ctx, r.address) }))
	}
	return errors.Join(failures...)
}
