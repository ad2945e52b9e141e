package stack

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"net"
	"os"
	"strconv"
	"time"

	"ramprow/internal/platform/lease"
	"ramprow/internal/platform/lifecycle"
	"ramprow/internal/platform/rpc"
	"ramprow/internal/platform/sitelog"
)

// Replica says how a process meets others of its role.
type Replica struct {
	// Advertise is where the others reach it, as host:port; empty for where it listens.
	Advertise string
	// TLS is how it calls them.
	TLS *rpc.ClientTLS
}

// address is what others can dial: a process that listens on every interface is
// found by its machine's name.
func (r *Replica) address(listening net.Addr) (string, error) {
	if r.Advertise != "" {
		return r.Advertise, nil
	}
	tcp, ok := listening.(*net.TCPAddr)
	if !ok || !tcp.IP.IsUnspecified() {
		return listening.String(), nil
	}
	name, err := os.Hostname()
	if err != nil {
		return "", fmt.Errorf("give --advertise, the machine does not know its name: %w", err)
	}
	return net.JoinHostPort(name, strconv.Itoa(tcp.Port)), nil
}

// lookEvery is how often writers look whether another replica has written, which
// happens only while a lease changes hands.
const lookEvery = 10 * time.Second

// standing is what a role knows of its replicas; nil: it is alone.
type standing struct {
	keeper *lease.Keeper
	tls    *rpc.ClientTLS
}

// stand asks for the leases of a role, for a process that is reached at an address.
func (r Role) stand(ctx context.Context, b *Backend, place Place, listening net.Addr) (*standing, error) {
	if place.Replica == nil {
		return nil, nil //nolint:nilnil // alone
	}
	if b.Leases == nil {
		return nil, errors.New("there can be no replicas over an embedded log")
	}
	address, err := place.Replica.address(listening)
	if err != nil {
		return nil, err
	}
	keeper, err := lease.Start(ctx, lease.Config{
		Store: b.Leases, Group: r.Name, Parts: sitelog.PartitionNames(0),
		Self:   lease.Holder{ID: rand.Text(), Address: address},
		Logger: b.Telemetry.Logger(),
	})
	if err != nil {
		return nil, err
	}
	return &standing{keeper: keeper, tls: place.Replica.TLS}, nil
}

func (s *standing) forwarding() *rpc.Forwarding {
	if s == nil {
		return nil
	}
	return &rpc.Forwarding{TLS: s.tls, Elsewhere: func(site string) string {
		return s.keeper.Elsewhere(sitelog.Partition(site, 0))
	}}
}

// active is nil, which means always, for a role that is alone.
func (s *standing) active() func(site string) bool {
	if s == nil {
		return nil
	}
	return func(site string) bool { return s.keeper.Holds(sitelog.Partition(site, 0)) }
}

// tasks tell the writers when a lease has come or gone.
func (s *standing) tasks(role string, wake func()) []lifecycle.Task {
	if s == nil {
		return nil
	}
	return []lifecycle.Task{{Name: role + " leases", Run: func(ctx context.Context) error {
		look := time.NewTicker(lookEvery)
		defer look.Stop()
		for {
			select {
			case <-s.keeper.Changed():
			case <-look.C:
			case <-ctx.Done():
				return ctx.Err()
			}
			wake()
		}
	}}}
}

// close gives the leases back.
func (s *standing) close(ctx context.Context) error {
	if s == nil {
		return nil
	}
	if err := s.keeper.Close(ctx); err != nil {
		return fmt.Errorf("give the leases back: %w", err)
	}
	return nil
}
