package stack

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"time"

	"ramprow/internal/platform/lifecycle"
	"ramprow/internal/platform/metrics"
	"ramprow/internal/platform/rpc"
	"ramprow/internal/platform/sitelog"
	"ramprow/internal/platform/telemetry"
	"ramprow/services/traces"
)

// measures tell how a role stands.
func (p *part) measures(role string, replicas *standing) []metrics.Measure {
	labels := map[string]string{"service": role}
	all := []metrics.Measure{
		{
			Name: "ramprow_parked_events", Help: "Events that the service could not handle and that wait for the owner.", Labels: labels,
			Read: plain(func() int { return p.standing().Parked }),
		},
		{
			Name: "ramprow_sites", Help: "Sites that have a log of the service.", Labels: labels,
			Read: plain(func() int { return p.standing().Sites }),
		},
		{
			Name: "ramprow_leases_held", Help: "Partitions whose reactions, timers and snapshots are this process's to do.", Labels: labels,
			Read: plain(replicas.held),
		},
		{
			Name: "ramprow_read_model_behind", Help: "Sequences by which the log is ahead of the read models, at the site furthest behind.", Labels: labels,
			Read: counted(p.unshown),
		},
	}
	for _, followed := range p.follows {
		all = append(all, metrics.Measure{
			Name: "ramprow_follower_behind", Help: "Sequences by which a followed log is ahead of what was reacted to, at the site furthest behind.",
			Labels: map[string]string{"service": role, "follows": followed},
			Read:   counted(func(ctx context.Context) (uint64, error) { return p.behind(ctx, followed) }),
		})
	}
	return all
}

// plain is for what can be told without asking anybody.
func plain[N int | int64 | uint64](value func() N) func(context.Context) (float64, error) {
	return func(context.Context) (float64, error) { return float64(value()), nil }
}

func counted(ask func(context.Context) (uint64, error)) func(context.Context) (float64, error) {
	return func(ctx context.Context) (float64, error) {
		count, err := ask(ctx)
		return float64(count), err
	}
}

// held counts the partitions that are this process's; one that is alone has all.
func (s *standing) held() (held int) {
	for _, part := range sitelog.PartitionNames(0) {
		if s == nil || s.keeper.Holds(part) {
			held++
		}
	}
	return held
}

// traceMeasures tell how full a store of traces is.
func traceMeasures(store *traces.Store) []metrics.Measure {
	labels := map[string]string{"service": RoleTraces}
	return []metrics.Measure{
		{Name: "ramprow_traces_kept", Help: "Traces in the store.", Labels: labels, Read: plain(func() uint64 { return store.Standing().Traces })},
		{Name: "ramprow_traces_bytes", Help: "Memory that they take.", Labels: labels, Read: plain(func() int64 { return store.Standing().Bytes })},
		{Name: "ramprow_traces_limit_bytes", Help: "Memory that they may take.", Labels: labels, Read: plain(func() int64 { return store.Standing().Limits.Bytes })},
		{Name: "ramprow_traces_received_spans_total", Help: "Spans taken.", Labels: labels, Counts: true, Read: plain(func() uint64 { return store.Standing().Received })},
		{Name: "ramprow_traces_refused_spans_total", Help: "Spans refused for their form.", Labels: labels, Counts: true, Read: plain(func() uint64 { return store.Standing().Refused })},
		{Name: "ramprow_traces_evicted_total", Help: "Traces that made room for others.", Labels: labels, Counts: true, Read: plain(func() uint64 { return store.Standing().Evicted })},
	}
}

// MetricsAddress is where `ramprow up` tells its metrics.
const MetricsAddress = "127.0.0.1:7106"

var errOpenMetrics = errors.New("metrics are told in plain text on this machine alone; give --tls-cert and --tls-key to listen elsewhere")

// MetricsPlace is where a process tells its metrics.
type MetricsPlace struct {
	// Address to listen on; port 0 takes a free one.
	Address string
	// TLS is needed to listen to other machines.
	TLS       *rpc.ServerTLS
	Telemetry *telemetry.Telemetry
}

// Metrics is an endpoint that serves.
type Metrics struct {
	Address string
	task    lifecycle.Task
}

// Task serves what was counted under /metrics.
func (m *Metrics) Task() lifecycle.Task { return m.task }

// onLoopback tells whether nobody but this machine reaches a listener.
func onLoopback(listener net.Listener) bool {
	tcp, isTCP := listener.Addr().(*net.TCPAddr)
	return isTCP && tcp.IP.IsLoopback()
}

// StartMetrics listens; the task serves.
func StartMetrics(place MetricsPlace, closers *lifecycle.Closers) (*Metrics, error) {
	listener, err := net.Listen("tcp", place.Address)
	if err != nil {
		return nil, fmt.Errorf("metrics: %w", err)
	}
	if place.TLS == nil && !onLoopback(listener) {
		return nil, errors.Join(errOpenMetrics, listener.Close())
	}
	mux := http.NewServeMux()
	mux.Handle("GET /metrics", place.Telemetry.Metrics().Handler())
	server := &http.Server{Handler: mux, ReadHeaderTimeout: 5 * time.Second, WriteTimeout: 30 * time.Second, IdleTimeout: 2 * time.Minute, MaxHeaderBytes: 8 << 10}
	serve := func() error { return server.Serve(listener) }
	if place.TLS != nil {
		if server.TLSConfig, err = place.TLS.Config(place.Telemetry.Logger()); err != nil {
			return nil, errors.Join(err, listener.Close())
		}
		serve = func() error { return server.ServeTLS(listener, "", "") }
	}
	closers.Add(lifecycle.Closer{Name: "the metrics", Close: server.Shutdown})
	return &Metrics{Address: listener.Addr().String(), task: lifecycle.Task{Name: "metrics", Run: func(context.Context) error {
		if err := serve(); !errors.Is(err, http.ErrServerClosed) {
			return err
		}
		return nil
	}}}, nil
}
