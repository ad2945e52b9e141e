// Package jetstream is a sitelog.Log over NATS JetStream: one stream per
// service, RAMPROW_<SERVICE>, one subject per site, <service>.<partition>.<site>.
// Streams are files, keep everything, and refuse deleting and purging. It is the
// only package that talks to NATS.
//
// A commit's guard is the exact subject's last sequence
// (Nats-Expected-Last-Subject-Sequence). The server's own dedupe by message id
// is not used: its window ends, and what it answers differs between one server
// and a cluster.
package jetstream

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"sync"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"ramprow/internal/platform/sitelog"
)

// DefaultTimeout bounds one request to the server. A publish that takes longer
// has an unknown outcome, and the writer reads the tail.
const DefaultTimeout = 2 * time.Second

// InProcess is a NATS server in this process.
type InProcess interface {
	InProcessConn() (net.Conn, error)
}

// Options say which server to use and how. InProcess or URL must be set.
type Options struct {
	InProcess   InProcess
	URL         string // several are parted by commas
	Credentials string // file; empty for none
	CAFile      string // who signed the server's certificate; empty for the system's
	CertFile    string // own certificate and key, both or none
	KeyFile     string
	Name        string // of the connection, for the server's lists
	// Partitions must be the same for every program on one log; 0 means sitelog.DefaultPartitions.
	Partitions int
	// Replicas of streams that are created here; 0 means 1. An odd number.
	Replicas int
	Timeout  time.Duration // 0 means DefaultTimeout
	Logger   *slog.Logger
}

// Log implements sitelog.Log.
type Log struct {
	nc *nats.Conn
	js jetstream.JetStream
	o  Options

	mu      sync.Mutex
	streams map[string]jetstream.Stream // by service
}

var _ sitelog.Log = (*Log)(nil)

// Connect opens the connection. Streams are created when they are first used.
func Connect(o Options) (*Log, error) {
	if (o.InProcess == nil) == (o.URL == "") {
		return nil, errors.New("jetstream: set either InProcess or URL")
	}
	if (o.CertFile == "") != (o.KeyFile == "") {
		return nil, errors.New("jetstream: set both CertFile and KeyFile, or none")
	}
	if o.Timeout <= 0 {
		o.Timeout = DefaultTimeout
	}
	if o.Partitions <= 0 {
		o.Partitions = sitelog.DefaultPartitions
	}
	o.Replicas = max(o.Replicas, 1)
	if o.Logger == nil {
		o.Logger = slog.New(slog.DiscardHandler)
	}
	nc, err := nats.Connect(o.URL, o.natsOptions()...)
	if err != nil {
		return nil, fmt.Errorf("connect to NATS: %w", err)
	}
	js, err := jetstream.New(nc)
	if err != nil {
		nc.Close()
		return nil, fmt.Errorf("use JetStream: %w", err)
	}
	return &Log{nc: nc, js: js, o: o, streams: map[string]jetstream.Stream{}}, nil
}

func (o Options) natsOptions() []nats.Option {
	options := []nats.Option{
		nats.Name(o.Name),
		nats.MaxReconnects(-1),
		nats.ReconnectWait(250 * time.Millisecond),
		// A publish while the server is away fails at once, instead of being
		// sent much later.
		nats.ReconnectBufSize(-1),
		nats.ErrorHandler(func(_ *nats.Conn, _ *nats.Subscription, err error) {
			o.Logger.Warn("NATS reports an error", "error", err)
		}),
		nats.DisconnectErrHandler(func(_ *nats.Conn, err error) {
			if err != nil {
				o.Logger.Warn("NATS is away", "error", err)
			}
		}),
		nats.ReconnectHandler(func(*nats.Conn) { o.Logger.Info("NATS is back") }),
	}
	if o.InProcess != nil {
		options = append(options, nats.InProcessServer(o.InProcess))
	}
	if o.Credentials != "" {
		options = append(options, nats.UserCredentials(o.Credentials))
	}
	if o.CAFile != "" {
		options = append(options, nats.RootCAs(o.CAFile))
	}
	if o.CertFile != "" {
		options = append(options, nats.ClientCert(o.CertFile, o.KeyFile))
	}
	return options
}

// Ready tells whether the server answers now.
func (l *Log) Ready(ctx context.Context) error {
	ctx, cancel := context.WithTimeout(ctx, l.o.Timeout)
	defer cancel()
	if _, err := l.js.AccountInfo(ctx); err != nil {
		return fmt.Errorf("JetStream does not answer: %w", err)
	}
	return nil
}

// Close ends the connection. Close the runners first.
func (l *Log) Close() { l.nc.Close() }
