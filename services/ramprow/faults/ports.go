package faults

import (
	"context"
	"errors"
	"fmt"
	"net"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"
	"google.golang.org/grpc/health/grpc_health_v1"
)

// Ports below those that systems hand out to outgoing connections: one of these
// must be free again whenever a process is restarted.
const (
	firstPort = 21_000
	lastPort  = 31_999
)

// ports gives addresses that nobody listens on.
type ports struct{ next int }

func newPorts(seed uint64) *ports {
	return &ports{next: firstPort + int(seed*37%(lastPort-firstPort))}
}

func (p *ports) take() (string, error) {
	for range lastPort - firstPort {
		address := fmt.Sprintf("127.0.0.1:%d", p.next)
		if p.next++; p.next > lastPort {
			p.next = firstPort
		}
		l, err := net.Listen("tcp", address)
		if err != nil {
			continue
		}
		return address, l.Close()
	}
	return "", errors.New("no port is free")
}

// patience bounds every wait for something that must come. Nothing that works
// comes near it.
const patience = 90 * time.Second

// eventually asks until there is no error.
func eventually(ctx context.Context, what string, ask func(context.Context) error) error {
	ctx, cancel := context.WithTimeout(ctx, patience)
	defer cancel()
	tick := time.NewTicker(10 * time.Millisecond)
	defer tick.Stop()
	var err error
	for {
		before := err
		if err = ask(ctx); err == nil {
			return nil
		}
		if ctx.Err() != nil && before != nil {
			err = before // which says more than that the time was up
		}
		select {
		case <-tick.C:
		case <-ctx.Done():
			return fmt.Errorf("waited in vain for %s: %w (%w)", what, context.Cause(ctx), err)
		}
	}
}

// listening tells whether somebody listens at an address.
func listening(ctx context.Context, address string) error {
	ctx, cancel := context.WithTimeout(ctx, time.Second)
	defer cancel()
	conn, err := (&net.Dialer{}).DialContext(ctx, "tcp", address)
	if err != nil {
		return err
	}
	return conn.Close()
}

// serving tells whether a role says that it serves.
func serving(ctx context.Context, address string) error {
	conn, err := grpc.NewClient(address, grpc.WithTransportCredentials(insecure.NewCredentials()))
	if err != nil {
		return err
	}
	defer func() { _ = conn.Close() }()
	ctx, cancel := context.WithTimeout(ctx, time.Second)
	defer cancel()
	r, err := grpc_health_v1.NewHealthClient(conn).Check(ctx, &grpc_health_v1.HealthCheckRequest{})
	if err == nil && r.GetStatus() != grpc_health_v1.HealthCheckResponse_SERVING {
		err = errors.New(r.GetStatus().String())
	}
	return err
}
