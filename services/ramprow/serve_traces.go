package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"time"

	"github.com/spf13/cobra"

	"ramprow/internal/platform/config"
	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/lifecycle"
	"ramprow/internal/platform/telemetry"
	"ramprow/services/ramprow/stack"
	"ramprow/services/traces"
)

// tracesConfig is what the trace store alone is told.
type tracesConfig struct {
	otlp      string
	dir       string
	megabytes int64
	age, slow time.Duration
}

const otlpVariable = "RAMPROW_OTLP_LISTEN"

func (c *tracesConfig) bind(command *cobra.Command) {
	f := command.Flags()
	f.StringVar(&c.otlp, "otlp-listen", "", "for traces: address at which spans are taken by OTLP over gRPC (environment: "+otlpVariable+"; otherwise "+stack.OTLPAddress+")")
	f.StringVar(&c.dir, "traces-dir", "", "for traces: folder that keeps them over a restart; none: in memory alone")
	f.Int64Var(&c.megabytes, "traces-megabytes", traces.DefaultBytes>>20, "for traces: memory, and as much again on disk, that they may take")
	f.DurationVar(&c.age, "traces-age", traces.DefaultAge, "for traces: age after which they are gone")
	f.DurationVar(&c.slow, "traces-slow", traces.DefaultSlow, "for traces: how long a span takes that makes its trace one to keep longest, like one with an error")
}

func (c *tracesConfig) open(log *slog.Logger) (*traces.Store, error) {
	if c.megabytes < 1 || c.age <= 0 || c.slow <= 0 {
		return nil, fmt.Errorf("--traces-megabytes %d, --traces-age %s and --traces-slow %s must all be above zero", c.megabytes, c.age, c.slow)
	}
	limits := traces.Limits{Bytes: c.megabytes << 20, Age: c.age, Slow: c.slow}
	if c.dir == "" {
		return traces.NewStore(limits, time.Now), nil
	}
	return traces.OpenStore(c.dir, limits, time.Now, log)
}

// serveTraces keeps traces until a signal comes or ctx ends.
func (c *serveConfig) serveTraces(ctx context.Context, notes io.Writer) (err error) {
	c.listen.Address = cmp.Or(c.listen.Address, stack.TracesAddress)
	if err := config.Validate(&c.listen, &c.tokens, &c.counts); err != nil {
		return err
	}
	verifier, err := c.verifier()
	if err != nil {
		return err
	}
	// It does not tell itself of its own work: that would never end.
	t, err := telemetry.Start(ctx, telemetry.Config{
		Service: "ramprow-traces", Version: version, LogLevel: slog.LevelInfo, LogFormat: telemetry.Format(c.format), Log: notes,
		Getenv: func(string) string { return "" }, Metrics: c.counter(),
	})
	if err != nil {
		return err
	}
	closers := &lifecycle.Closers{}
	closers.Add(lifecycle.Closer{Name: "telemetry", Close: t.Shutdown})
	served, err := c.startTraces(t, verifier, closers)
	tasks, tellErr := c.tell(t, closers)
	err = errors.Join(err, tellErr)
	if err != nil {
		return errors.Join(err, closers.Close(context.WithoutCancel(ctx)))
	}
	t.Logger().InfoContext(ctx, "serving", "role", stack.RoleTraces, "address", served.Address, "otlp", served.OTLP)
	process := lifecycle.Process{Log: t.Logger(), Closers: closers, Ready: served.Ready, DrainDelay: c.drain}
	return process.Run(ctx, append(tasks, served.Tasks()...)...)
}

func (c *serveConfig) startTraces(t *telemetry.Telemetry, verifier *identity.Verifier, closers *lifecycle.Closers) (*stack.Traces, error) {
	store, err := c.traces.open(t.Logger())
	if err != nil {
		return nil, err
	}
	closers.Add(lifecycle.Closer{Name: "the trace store", Close: func(context.Context) error { return store.Close() }})
	place := stack.TracesPlace{
		Address: c.listen.Address, OTLP: cmp.Or(c.traces.otlp, os.Getenv(otlpVariable), stack.OTLPAddress),
		Store: store, Verifier: verifier, Telemetry: t, TLS: c.certificates(),
	}
	return stack.StartTraces(place, closers)
}
