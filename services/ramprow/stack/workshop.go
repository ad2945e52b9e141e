package stack

import (
	"cmp"
	"context"
	"crypto/ed25519"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"time"

	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/lifecycle"
	"ramprow/internal/platform/telemetry"
	"ramprow/services/desk"
	"ramprow/services/terminal"
	"ramprow/services/traces"
)

// Workshop is every role in one process, over an embedded NATS and Redis.
type Workshop struct {
	Services []*Service
	Signer   *identity.Signer
	// Desk serves the pages; nil where none were wanted.
	Desk *Desk
	// Traces answers for the store of traces; nil where there is none.
	Traces *Traces
	// Metrics tells what Telemetry counted; nil where nobody asks.
	Metrics *Metrics
	Backend *Backend
	closers *lifecycle.Closers
}

// WorkshopConfig says where a workshop lives.
type WorkshopConfig struct {
	// Dir keeps the log and the token key; what is there is continued.
	Dir       string
	Telemetry *telemetry.Telemetry
	// Address of a role; nil takes a free port on the loopback for each.
	Address func(Role) string
	// Desk is the address of the pages; empty: there are none.
	Desk string
	// Traces keeps what Telemetry records, reached at TracesAddress; nil: nothing is kept.
	Traces        *traces.Store
	TracesAddress string
	// Metrics is the address at which what Telemetry counts is told; empty: nowhere.
	Metrics string
	// Improve is how long better plans are searched beside the writer at a time; zero: not at all.
	Improve time.Duration
	// Now is the workshop's clock; nil is the machine's.
	Now func() time.Time
	// Backend makes what the roles stand on; nil embeds it in Dir.
	Backend func(*lifecycle.Closers) (*Backend, error)
}

func (c WorkshopConfig) backend(closers *lifecycle.Closers) (*Backend, error) {
	if c.Backend != nil {
		return c.Backend(closers)
	}
	return Embedded(c.Dir, c.Telemetry, closers)
}

// OpenWorkshop prepares everything. Close it, or Run it, which closes it too.
func OpenWorkshop(ctx context.Context, c WorkshopConfig) (w *Workshop, err error) {
	if err := os.MkdirAll(c.Dir, 0o700); err != nil {
		return nil, fmt.Errorf("make the data folder: %w", err)
	}
	key, err := identity.LoadOrCreateKey(KeyFile(c.Dir))
	if err != nil {
		return nil, err
	}
	verifier, err := identity.NewVerifier(identity.VerifierConfig{Keys: []ed25519.PublicKey{key.Public()}, Now: c.Now})
	if err != nil {
		return nil, err
	}
	closers := &lifecycle.Closers{}
	w = &Workshop{Signer: identity.NewSigner(identity.SignerConfig{Key: key}), closers: closers}
	defer func() {
		if err != nil {
			err = errors.Join(err, closers.Close(context.WithoutCancel(ctx)))
		}
	}()
	if w.Backend, err = c.backend(w.closers); err != nil {
		return nil, err
	}
	if c.Now != nil {
		w.Backend.Now = c.Now
	}
	w.Backend.Improve = c.Improve
	for _, r := range Roles() {
		place := Place{Address: "127.0.0.1:0", Verifier: verifier}
		if c.Address != nil {
			place.Address = c.Address(r)
		}
		service, err := r.Start(ctx, w.Backend, place, w.closers)
		if err != nil {
			return nil, err
		}
		w.Services = append(w.Services, service)
	}
	if c.Traces != nil {
		if w.Traces, err = StartTraces(TracesPlace{
			Address: cmp.Or(c.TracesAddress, "127.0.0.1:0"), Store: c.Traces, Verifier: verifier, Telemetry: c.Telemetry,
		}, w.closers); err != nil {
			return nil, err
		}
	}
	if c.Metrics != "" {
		if w.Metrics, err = StartMetrics(MetricsPlace{Address: c.Metrics, Telemetry: c.Telemetry}, w.closers); err != nil {
			return nil, err
		}
	}
	if c.Desk == "" {
		return w, nil
	}
	w.Desk, err = StartDesk(DeskPlace{
		Address: c.Desk, Services: w.Addresses(), Store: w.Backend.Store, Verifier: verifier,
		People: desk.OpenPeople(PeopleFile(c.Dir), w.Signer), Telemetry: c.Telemetry, Now: w.Backend.Now,
	}, w.closers)
	return w, err
}

// PeopleFile is where a data folder keeps who may sign in by PIN.
func PeopleFile(dir string) string { return filepath.Join(dir, "people.json") }

// KeyFile is where a data folder keeps the key that signs its tokens.
func KeyFile(dir string) string { return terminal.KeyFile(dir) }

// Run serves until ctx ends or a signal comes, and closes everything in order.
func (w *Workshop) Run(ctx context.Context) error {
	process := lifecycle.Process{
		Log:     quiet(w.Backend.Telemetry.Logger()),
		Closers: w.closers,
		Ready: func(yes bool) {
			for _, s := range w.Services {
				s.Ready(yes)
			}
			if w.Traces != nil {
				w.Traces.Ready(yes)
			}
		},
	}
	var tasks []lifecycle.Task
	for _, s := range w.Services {
		tasks = append(tasks, s.Tasks()...)
	}
	if w.Traces != nil {
		tasks = append(tasks, w.Traces.Tasks()...)
	}
	if w.Metrics != nil {
		tasks = append(tasks, w.Metrics.Task())
	}
	if w.Desk != nil {
		tasks = append(tasks, w.Desk.Task())
	}
	return process.Run(ctx, tasks...)
}

// Addresses by role name.
func (w *Workshop) Addresses() map[string]string {
	addresses := map[string]string{}
	for _, s := range w.Services {
		addresses[s.Role] = s.Address
	}
	if w.Traces != nil {
		addresses[RoleTraces] = w.Traces.Address
	}
	return addresses
}

// Token lets a person act in a role at a site.
func (w *Workshop) Token(site, person string, ttl time.Duration, roles ...identity.Role) (string, error) {
	return w.Signer.Issue(identity.Identity{Site: site, Person: person, Roles: roles}, ttl, w.Backend.Now())
}
