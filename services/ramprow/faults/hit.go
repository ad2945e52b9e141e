package faults

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"slices"
	"strings"
	"sync"
	"syscall"
	"time"

	"ramprow/internal/platform/lease"
	"ramprow/internal/platform/sitelog"
	"ramprow/services/terminal"
)

// target is one process and how it comes back.
type target struct {
	*process
	start func(context.Context) error
}

// targets finds whom a fault is for at this moment.
func (w *town) targets(ctx context.Context, s strike, site string) ([]target, error) {
	ofBroker := func(b *broker) target {
		return target{b.process, func(ctx context.Context) error { return w.startBroker(ctx, b) }}
	}
	ofRole := func(r *replica) target {
		return target{r.process, func(ctx context.Context) error { return w.startRole(ctx, r) }}
	}
	switch s.victim {
	case aBroker:
		return []target{ofBroker(w.brokers[s.broker])}, nil
	case aRedis:
		return []target{{w.redis, w.startRedis}}, nil
	case atWork, standing:
		holder, err := w.holder(ctx, s.Role, site)
		if err != nil {
			return nil, err
		}
		for _, r := range w.roles[s.Role] {
			if (r == holder) == (s.victim == atWork) {
				return []target{ofRole(r)}, nil
			}
		}
		return nil, fmt.Errorf("%s has no such process", s.Role)
	case wholeOf, all:
	}
	var list []target
	if s.victim == all {
		for _, b := range w.brokers {
			list = append(list, ofBroker(b))
		}
		list = append(list, target{w.redis, w.startRedis})
	}
	for _, r := range w.everyReplica() {
		if s.victim == all || r.role == s.Role {
			list = append(list, ofRole(r))
		}
	}
	return list, nil
}

// holder gives the replica that has the lease of a site.
func (w *town) holder(ctx context.Context, role, site string) (holder *replica, err error) {
	err = eventually(ctx, role+" to have a replica at work", func(ctx context.Context) error {
		ctx, cancel := context.WithTimeout(ctx, 2*time.Second)
		defer cancel()
		e, err := w.backend.Leases.Get(ctx, role+"."+sitelog.Partition(site, 0))
		if err != nil {
			return err
		}
		var h lease.Holder
		if err := json.Unmarshal(e.Value, &h); err != nil {
			return fmt.Errorf("the lease says %q", e.Value)
		}
		for _, r := range w.roles[role] {
			if r.address == h.Address {
				holder = r
				return nil
			}
		}
		return fmt.Errorf("the lease is held by %q", h.Address)
	})
	return holder, err
}

// hit does a deed. When it returns, it has happened; wait returns when what was
// sent to end has ended.
func (w *town) hit(ctx context.Context, d deed, targets []target) (wait func() error, err error) {
	wait = func() error { return nil }
	switch d {
	case kill:
		// At once, as a power cut does.
		failures := make([]error, len(targets))
		var killing sync.WaitGroup
		for i, one := range targets {
			killing.Go(func() { failures[i] = one.kill() })
		}
		killing.Wait()
		return wait, errors.Join(failures...)
	case stop:
		for _, one := range targets {
			if err := one.freeze(); err != nil {
				return wait, err
			}
		}
	case restart:
		for _, one := range targets {
			if _, err := one.signal(syscall.SIGTERM, false); err != nil {
				return wait, err
			}
		}
		return func() error {
			for _, one := range targets {
				if err := one.terminate(); err != nil {
					return err
				}
			}
			return nil
		}, nil
	case empty:
		return wait, w.flushRedis(ctx)
	case move:
		for _, role := range terminal.RoleNames() {
			if err := w.moveLeader(ctx, role); err != nil {
				return wait, err
			}
		}
	}
	return wait, nil
}

// undo brings back what a deed took away. Brokers and Redis come before roles.
func (w *town) undo(ctx context.Context, d deed, targets []target) error {
	switch d {
	case empty, move:
		return nil
	case stop:
		var failures []error
		for _, one := range targets {
			failures = append(failures, one.thaw())
		}
		return errors.Join(failures...)
	case kill, restart:
	}
	// A server of a cluster is ready when most of them run.
	beneath := func(one target) bool { return strings.HasPrefix(one.name, "broker") || one.process == w.redis }
	return errors.Join(
		startAll(ctx, slices.DeleteFunc(slices.Clone(targets), func(one target) bool { return !beneath(one) })),
		startAll(ctx, slices.DeleteFunc(slices.Clone(targets), beneath)),
	)
}

// startAll starts processes at the same time, and waits for all of them.
func startAll(ctx context.Context, targets []target) error {
	failures := make([]error, len(targets))
	var starting sync.WaitGroup
	for i, one := range targets {
		starting.Go(func() { failures[i] = one.start(ctx) })
	}
	starting.Wait()
	return errors.Join(failures...)
}

// flushRedis empties Redis, as an operator's slip would.
func (w *town) flushRedis(ctx context.Context) error {
	return talk(ctx, w.redisAt, func(lines *bufio.Reader, conn io.Writer) error {
		if _, err := io.WriteString(conn, "FLUSHALL\r\n"); err != nil {
			return err
		}
		answer, err := lines.ReadString('\n')
		if err == nil && !strings.HasPrefix(answer, "+OK") {
			err = errors.New(strings.TrimSpace(answer))
		}
		return err
	})
}

// moveLeader asks the brokers to elect another leader of a role's stream.
func (w *town) moveLeader(ctx context.Context, role string) error {
	stream := "RAMPROW_" + strings.ToUpper(strings.ReplaceAll(role, "-", "_"))
	return eventually(ctx, "the leader of "+stream+" to move", func(ctx context.Context) error {
		return w.brokers[0].ask(ctx, "$JS.API.STREAM.LEADER.STEPDOWN."+stream)
	})
}

// talk has a short conversation in lines of text.
func talk(ctx context.Context, address string, say func(*bufio.Reader, io.Writer) error) error {
	ctx, cancel := context.WithTimeout(ctx, 5*time.Second)
	defer cancel()
	conn, err := (&net.Dialer{}).DialContext(ctx, "tcp", address)
	if err != nil {
		return err
	}
	defer func() { _ = conn.Close() }()
	deadline, _ := ctx.Deadline()
	if err := conn.SetDeadline(deadline); err != nil {
		return err
	}
	return say(bufio.NewReader(conn), conn)
}
