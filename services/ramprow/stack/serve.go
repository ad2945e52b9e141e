package stack

import (
	"context"
	"errors"
	"fmt"
	"net"
	"slices"

	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/lifecycle"
	"ramprow/internal/platform/rpc"
)

// Service is one role that serves.
type Service struct {
	Role    string
	Address string
	server  *rpc.Server
	tasks   []lifecycle.Task
}

// Place is where a role is reached and who may come in.
type Place struct {
	// Address to listen on; port 0 takes a free one.
	Address  string
	TLS      *rpc.ServerTLS
	Verifier *identity.Verifier
	// Replica is set where several processes may have the role; nil: this is the only one.
	Replica *Replica
}

// Start prepares a role: writers, read models and a listening server. Its
// tasks run it; the closers end it, calls first.
func (r Role) Start(ctx context.Context, b *Backend, place Place, closers *lifecycle.Closers) (*Service, error) {
	listener, err := net.Listen("tcp", place.Address)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", r.Name, err)
	}
	replicas, err := r.stand(ctx, b, place, listener.Addr())
	if err != nil {
		return nil, errors.Join(fmt.Errorf("%s: %w", r.Name, err), listener.Close())
	}
	server, p, err := r.equip(ctx, b, place, replicas)
	if err != nil {
		return nil, errors.Join(fmt.Errorf("%s: %w", r.Name, err), listener.Close(), replicas.close(ctx))
	}
	b.Telemetry.Metrics().Add(p.measures(r.Name, replicas)...)
	if p.beside != nil {
		b.Telemetry.Metrics().Add(p.beside.measures...)
	}
	closers.Add(closer("the writers of "+r.Name, func() error {
		p.close()
		return nil
	}))
	// Read models end when they are closed, after the server: not with the caller's context.
	projecting, stopProjecting := context.WithCancel(context.WithoutCancel(ctx))
	projected := make(chan struct{})
	closers.Add(closer("the read models of "+r.Name, func() error {
		stopProjecting()
		<-projected
		return nil
	}))
	closers.Add(lifecycle.Closer{Name: "the server of " + r.Name, Close: server.Shutdown})
	// First of all: while this process drains, another one is at work already.
	closers.Add(lifecycle.Closer{Name: "the leases of " + r.Name, Close: replicas.close})
	return &Service{
		Role:    r.Name,
		Address: listener.Addr().String(),
		server:  server,
		tasks: slices.Concat(p.beside.tasks(r.Name), []lifecycle.Task{
			{Name: r.Name + " server", Run: func(context.Context) error { return server.Serve(listener) }},
			{Name: r.Name + " read models", Run: func(context.Context) error {
				defer close(projected)
				return untilTold(projecting, p.project)
			}},
		}, replicas.tasks(r.Name, p.wake)),
	}, nil
}

// tasks run what is done beside the writers.
func (b *beside) tasks(role string) []lifecycle.Task {
	if b == nil || b.run == nil {
		return nil
	}
	return []lifecycle.Task{{Name: role + " " + b.name, Run: b.run}}
}

// equip makes a role's server, and builds what answers behind it.
func (r Role) equip(ctx context.Context, b *Backend, place Place, replicas *standing) (*rpc.Server, *part, error) {
	server, err := rpc.NewServer(rpc.ServerConfig{
		Telemetry: b.Telemetry, Service: r.Name, Verifier: place.Verifier, TLS: place.TLS, Forwarding: replicas.forwarding(), Reveal: b.Personal.Reveal,
	})
	if err != nil {
		return nil, nil, err
	}
	p, err := r.build(ctx, b, server, replicas.active())
	return server, p, err
}

// untilTold runs a task until its context ends. That it was told to is no news:
// the process goes on closing what lies beneath.
func untilTold(ctx context.Context, task func(context.Context) error) error {
	err := task(ctx)
	if errors.Is(err, context.Canceled) {
		return nil
	}
	return err
}

// Tasks run the service.
func (s *Service) Tasks() []lifecycle.Task { return s.tasks }

// Ready tells clients whether calls are welcome.
func (s *Service) Ready(yes bool) { s.server.SetReady(yes) }
