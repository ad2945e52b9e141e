package stack

import (
	"context"
	"fmt"
	"log/slog"
	"path/filepath"
	"time"

	"ramprow/internal/platform/config"
	"ramprow/internal/platform/embedded"
	"ramprow/internal/platform/lease"
	"ramprow/internal/platform/lifecycle"
	"ramprow/internal/platform/personal"
	"ramprow/internal/platform/readmodel"
	"ramprow/internal/platform/sitelog"
	"ramprow/internal/platform/sitelog/jetstream"
	"ramprow/internal/platform/telemetry"
)

// Log is a site log that knows its sites.
type Log interface {
	sitelog.Log
	// KnownSites gives the sites that have a log of a service now, in order.
	KnownSites(ctx context.Context, service string) ([]string, error)
}

// Backend is what every role stands on.
type Backend struct {
	Log       Log
	Snapshots sitelog.SnapshotStore
	// Leases says which of several replicas does what; nil where there can be but one.
	Leases lease.Store
	Store  *readmodel.Store
	// Personal has the keys of what says who somebody is.
	Personal  *personal.Vault
	Telemetry *telemetry.Telemetry
	Now       func() time.Time
	// Improve is how long better plans are searched beside the writer at a time; zero: not at all.
	Improve time.Duration
	// Broker is the embedded NATS server; nil when one outside is used.
	Broker jetstream.InProcess
}

// Outside connects to a NATS and a Redis server that run by themselves.
func Outside(broker config.Broker, redis config.ReadModels, t *telemetry.Telemetry, closers *lifecycle.Closers) (*Backend, error) {
	b, err := OutsideLog(broker, t, closers)
	if err != nil {
		return nil, err
	}
	return withStore(b, redis.URL, closers)
}

// OutsideLog connects to a NATS server alone.
func OutsideLog(broker config.Broker, t *telemetry.Telemetry, closers *lifecycle.Closers) (*Backend, error) {
	log, err := jetstream.Connect(jetstream.Options{
		URL:         broker.URL,
		Credentials: broker.Credentials,
		CAFile:      broker.TLS.CA,
		CertFile:    broker.TLS.Certificate,
		KeyFile:     broker.TLS.Key,
		Replicas:    broker.Replicas,
		Name:        "ramprow",
		Logger:      t.Logger(),
	})
	if err != nil {
		return nil, err
	}
	closers.Add(closer("the log's connection", func() error {
		log.Close()
		return nil
	}))
	return &Backend{Log: log, Snapshots: log.Snapshots(), Leases: log.Leases(), Personal: vault(log, t, closers), Telemetry: t, Now: time.Now}, nil
}

// Embedded starts NATS and Redis inside this process. The log is kept in the
// folder; the read models are refilled from it at every start.
func Embedded(dir string, t *telemetry.Telemetry, closers *lifecycle.Closers) (*Backend, error) {
	b, err := EmbeddedLog(dir, t, closers)
	if err != nil {
		return nil, err
	}
	return withOwnStore(b, closers)
}

// OutsideBroker connects to a NATS server that runs by itself, and starts Redis
// inside this process.
func OutsideBroker(broker config.Broker, t *telemetry.Telemetry, closers *lifecycle.Closers) (*Backend, error) {
	b, err := OutsideLog(broker, t, closers)
	if err != nil {
		return nil, err
	}
	return withOwnStore(b, closers)
}

func withOwnStore(b *Backend, closers *lifecycle.Closers) (*Backend, error) {
	redis, err := embedded.StartRedis()
	if err != nil {
		return nil, err
	}
	closers.Add(closer("the embedded Redis", redis.Close))
	return withStore(b, redis.URL(), closers)
}

// EmbeddedLog starts NATS alone.
func EmbeddedLog(dir string, t *telemetry.Telemetry, closers *lifecycle.Closers) (*Backend, error) {
	server, err := embedded.StartNATS(filepath.Join(dir, "nats"), embedded.NATSOptions{Logger: quiet(t.Logger())})
	if err != nil {
		return nil, err
	}
	closers.Add(closer("the embedded NATS server", func() error {
		embedded.StopNATS(server)
		return nil
	}))
	log, err := jetstream.Connect(jetstream.Options{InProcess: server, Name: "ramprow", Logger: t.Logger()})
	if err != nil {
		return nil, err
	}
	closers.Add(closer("the log's connection", func() error {
		log.Close()
		return nil
	}))
	return &Backend{Log: log, Snapshots: log.Snapshots(), Personal: vault(log, t, closers), Telemetry: t, Now: time.Now, Broker: server}, nil
}

// vault has its keys beside a log. It is closed before the log's connection.
func vault(log *jetstream.Log, t *telemetry.Telemetry, closers *lifecycle.Closers) *personal.Vault {
	v := personal.NewVault(log.Keys(), t.Logger())
	closers.Add(closer("the keys of personal data", func() error {
		v.Close()
		return nil
	}))
	return v
}

func withStore(b *Backend, url string, closers *lifecycle.Closers) (*Backend, error) {
	store, err := readmodel.Connect(readmodel.Options{URL: url})
	if err != nil {
		return nil, fmt.Errorf("read models: %w", err)
	}
	closers.Add(closer("the read models' connection", store.Close))
	b.Store = store
	return b, nil
}

func closer(name string, end func() error) lifecycle.Closer {
	return lifecycle.Closer{Name: name, Close: func(context.Context) error { return end() }}
}

// quiet keeps the embedded server's notices out of a person's terminal; its
// warnings stay.
func quiet(log *slog.Logger) *slog.Logger {
	return slog.New(atLeast{log.Handler(), slog.LevelWarn})
}

type atLeast struct {
	slog.Handler
	level slog.Level
}

// Enabled implements slog.Handler.
func (h atLeast) Enabled(ctx context.Context, level slog.Level) bool {
	return level >= h.level && h.Handler.Enabled(ctx, level)
}
