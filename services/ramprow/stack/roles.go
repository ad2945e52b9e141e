package stack

import (
	"context"
	"fmt"
	"time"

	"google.golang.org/grpc"

	"ramprow/internal/platform/metrics"
	"ramprow/internal/platform/personal"
	"ramprow/internal/platform/readmodel"
	"ramprow/internal/platform/sitelog"
	"ramprow/internal/platform/sitelog/logserver"
	"ramprow/services/inventory"
	"ramprow/services/job"
	"ramprow/services/scheduling"
	torqueaudit "ramprow/services/torque_audit"
)

// Role is a service that a process can be.
type Role struct {
	Name string
	// Port on the loopback when none is configured.
	Port  int
	build func(ctx context.Context, b *Backend, r grpc.ServiceRegistrar, active func(site string) bool) (*part, error)
	// Rebuild refills the read models of a site from the log.
	Rebuild func(ctx context.Context, b *Backend, site string, progress func(done, total int)) error
	// Compare gives in words what the read models of a site hold otherwise than the log.
	Compare func(ctx context.Context, b *Backend, site string) ([]string, error)
	// Verify walks the log of a site, and asks its snapshot how far it went.
	Verify func(ctx context.Context, b *Backend, site string, progress func(done, total uint64)) (sitelog.Verified, error)
	// Forget deletes the snapshot of a site.
	Forget func(ctx context.Context, b *Backend, site string) error
}

// part is a role at work, apart from its gRPC server.
type part struct {
	project func(context.Context) error // keeps the read models until its context ends
	wake    func()                      // makes the writers ask again whether they are active
	close   func()                      // ends the writers
	// What is told to whoever measures.
	standing func() sitelog.Standing
	behind   func(ctx context.Context, followed string) (uint64, error)
	unshown  func(context.Context) (uint64, error)
	follows  []string
	beside   *beside // nil: nothing
}

// beside is what a role does beside its writers.
type beside struct {
	name     string
	run      func(context.Context) error // until its context ends; nil: it is switched off
	measures []metrics.Measure
}

// Roles is every role there is, in the order in which they start.
func Roles() []Role {
	return []Role{
		role("job", 7101, job.Machine, job.Projection,
			func(r grpc.ServiceRegistrar, w *sitelog.Runner[*job.State], v *readmodel.Views[*job.State], keys *personal.Vault, now clock) {
				job.NewServer(w, v, now).Sealing(keys).Register(r)
			}, nil),
		role("inventory", 7102, inventory.Machine, inventory.Projection,
			func(r grpc.ServiceRegistrar, w *sitelog.Runner[*inventory.State], v *readmodel.Views[*inventory.State], _ *personal.Vault, now clock) {
				inventory.NewServer(w, v, now).Register(r)
			}, nil),
		role("scheduling", 7103, scheduling.Machine, scheduling.Projection,
			func(r grpc.ServiceRegistrar, w *sitelog.Runner[*scheduling.State], v *readmodel.Views[*scheduling.State], _ *personal.Vault, now clock) {
				scheduling.NewServer(w, v, now).Register(r)
			}, improver),
		role("torque-audit", 7104, torqueaudit.Machine, torqueaudit.Projection,
			func(r grpc.ServiceRegistrar, w *sitelog.Runner[*torqueaudit.State], v *readmodel.Views[*torqueaudit.State], keys *personal.Vault, now clock) {
				torqueaudit.NewServer(w, v, now).Revealing(keys).Register(r)
			}, nil),
	}
}

// RoleNamed finds a role.
func RoleNamed(name string) (Role, error) {
	for _, r := range Roles() {
		if r.Name == name {
			return r, nil
		}
	}
	return Role{}, fmt.Errorf("there is no role %q; use job, inventory, scheduling or torque-audit", name)
}

// Address is where a role listens when nothing else is said.
func (r Role) Address() string { return fmt.Sprintf("127.0.0.1:%d", r.Port) }

type clock func() time.Time

// role fits one service into the table: the types of its state stay inside.
func role[S any](name string, port int, machine func() sitelog.Machine[S], projection func() readmodel.Projection[S],
	register func(grpc.ServiceRegistrar, *sitelog.Runner[S], *readmodel.Views[S], *personal.Vault, clock),
	aside func(*Backend, *sitelog.Runner[S]) *beside,
) Role {
	projector := func(b *Backend) (*readmodel.Projector[S], error) {
		return readmodel.NewProjector(readmodel.Config[S]{
			Projection: projection(), Log: b.Log, Store: b.Store, Snapshots: b.Snapshots, Logger: b.Telemetry.Logger(),
		})
	}
	return Role{
		Name: name,
		Port: port,
		build: func(ctx context.Context, b *Backend, r grpc.ServiceRegistrar, active func(string) bool) (*part, error) {
			writers, err := sitelog.Open(ctx, b.Log, machine(), sitelog.Options{
				Snapshots: b.Snapshots, Active: active,
				Committed: func(took time.Duration, decisions int) { b.Telemetry.Metrics().Committed(name, took, decisions) },
				Now:       b.Now, Logger: b.Telemetry.Logger(), TracerProvider: b.Telemetry.TracerProvider(),
			})
			if err != nil {
				return nil, err
			}
			p, err := projector(b)
			if err != nil {
				writers.Close()
				return nil, err
			}
			register(r, writers, readmodel.NewViews(p, writers), b.Personal, b.Now)
			logserver.New(name, writers).Register(r)
			out := &part{
				project: p.Run, wake: writers.Wake, close: writers.Close,
				standing: writers.Standing, behind: writers.Behind, unshown: p.Behind, follows: machine().Follows,
			}
			if aside != nil {
				out.beside = aside(b, writers)
			}
			return out, nil
		},
		Rebuild: func(ctx context.Context, b *Backend, site string, progress func(done, total int)) error {
			p, err := projector(b)
			if err != nil {
				return err
			}
			return p.Rebuild(ctx, site, progress)
		},
		Compare: func(ctx context.Context, b *Backend, site string) ([]string, error) {
			p, err := projector(b)
			if err != nil {
				return nil, err
			}
			return p.Compare(ctx, site)
		},
		Verify: func(ctx context.Context, b *Backend, site string, progress func(done, total uint64)) (sitelog.Verified, error) {
			v, err := sitelog.Verify(ctx, b.Log, sitelog.Subject{Service: name, Site: site}, progress)
			if err != nil {
				return v, err
			}
			snapshots := sitelog.Snapshots[S]{Store: b.Snapshots, Log: b.Log, Machine: machine(), Logger: b.Telemetry.Logger()}
			return v, snapshots.Check(ctx, site)
		},
		Forget: func(ctx context.Context, b *Backend, site string) error {
			return b.Snapshots.Delete(ctx, sitelog.Subject{Service: name, Site: site}, machine().Schema)
		},
	}
}
