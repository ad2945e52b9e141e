package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"log/slog"
	"os"
	"time"

	"github.com/spf13/cobra"

	"ramprow/internal/platform/config"
	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/lifecycle"
	"ramprow/internal/platform/metrics"
	"ramprow/internal/platform/rpc"
	"ramprow/internal/platform/telemetry"
	"ramprow/services/ramprow/stack"
	"ramprow/services/terminal"
)

// serveConfig is what one role in its own process is told.
type serveConfig struct {
	broker config.Broker
	redis  config.ReadModels
	listen config.Listen
	tokens config.Tokens
	peers  config.Peers
	others config.Replicas
	counts config.Metrics
	better config.Improvement
	drain  time.Duration
	format string
	desk   deskConfig
	traces tracesConfig
}

func (c *serveConfig) sections() []config.Section {
	return []config.Section{&c.broker, &c.redis, &c.listen, &c.tokens, &c.peers, &c.others, &c.counts, &c.better}
}

func serveCommand() *cobra.Command {
	c := &serveConfig{better: config.Improvement{For: config.DefaultImprovement}}
	command := &cobra.Command{
		Use:     "serve ROLE",
		Short:   "Run one role over a NATS and a Redis server that run by themselves",
		GroupID: groupRun,
		Example: "  ramprow serve job --nats-url nats://127.0.0.1:4222 --redis-url redis://127.0.0.1:6379/0 --token-keys token.pub.pem\n" +
			"  ramprow serve desk --redis-url redis://127.0.0.1:6379/0 --token-keys token.pub.pem --pin-key token.pem --people people.json\n" +
			"  ramprow serve traces --token-keys token.pub.pem    # the others: OTEL_EXPORTER_OTLP_ENDPOINT=http://127.0.0.1:4317",
		ValidArgs: append(terminal.RoleNames(), stack.RoleDesk, stack.RoleTraces),
		Args:      cobra.MatchAll(cobra.ExactArgs(1), cobra.OnlyValidArgs),
	}
	unread := bindSections(command, c.sections()...)
	command.Flags().DurationVar(&c.drain, "drain-delay", 0, "time between being out of service and draining, for balancers to notice")
	command.Flags().StringVar(&c.format, "log-format", string(telemetry.FormatText), "text or json")
	c.desk.bind(command)
	c.traces.bind(command)
	command.RunE = func(command *cobra.Command, args []string) error {
		if unread != nil {
			return unread
		}
		switch args[0] {
		case stack.RoleDesk:
			return c.serveDesk(command.Context(), command.ErrOrStderr())
		case stack.RoleTraces:
			return c.serveTraces(command.Context(), command.ErrOrStderr())
		}
		role, err := stack.RoleNamed(args[0])
		if err != nil {
			return err
		}
		if c.listen.Address == "" {
			c.listen.Address = role.Address()
		}
		if err := config.Validate(c.sections()...); err != nil {
			return err
		}
		return c.serve(command.Context(), command.ErrOrStderr(), role)
	}
	return command
}

// bindSections gives a command the flags of sections, and the error of an
// environment variable that cannot be read, for when the command runs.
func bindSections(command *cobra.Command, sections ...config.Section) error {
	flags := flag.NewFlagSet(command.Name(), flag.ContinueOnError)
	err := config.Bind(flags, os.Getenv, sections...)
	command.Flags().AddGoFlagSet(flags)
	return err
}

// verifier believes the tokens of the keys that were named.
func (c *serveConfig) verifier() (*identity.Verifier, error) {
	keys, err := identity.LoadPublicKeys(c.tokens.Files()...)
	if err != nil {
		return nil, err
	}
	return identity.NewVerifier(identity.VerifierConfig{Keys: keys})
}

// serve runs a role until a signal comes or ctx ends.
func (c *serveConfig) serve(ctx context.Context, notes io.Writer, role stack.Role) (err error) {
	verifier, err := c.verifier()
	if err != nil {
		return err
	}
	t, err := telemetry.Start(ctx, telemetry.Config{
		Service: "ramprow-" + role.Name, Version: version, LogLevel: slog.LevelInfo, LogFormat: telemetry.Format(c.format), Log: notes,
		Metrics: c.counter(),
	})
	if err != nil {
		return err
	}
	closers := &lifecycle.Closers{}
	closers.Add(lifecycle.Closer{Name: "telemetry", Close: t.Shutdown})
	service, err := c.start(ctx, role, t, verifier, closers)
	tasks, tellErr := c.tell(t, closers)
	if err = errors.Join(err, tellErr); err != nil {
		return errors.Join(err, closers.Close(context.WithoutCancel(ctx)))
	}
	t.Logger().InfoContext(ctx, "serving", "role", role.Name, "address", service.Address)
	process := lifecycle.Process{Log: t.Logger(), Closers: closers, Ready: service.Ready, DrainDelay: c.drain}
	return process.Run(ctx, append(tasks, service.Tasks()...)...)
}

// counter is nil where nobody asks.
func (c *serveConfig) counter() *metrics.Metrics {
	if c.counts.Address == "" {
		return nil
	}
	return metrics.New()
}

// tell listens for whoever fetches metrics, if an address was given.
func (c *serveConfig) tell(t *telemetry.Telemetry, closers *lifecycle.Closers) ([]lifecycle.Task, error) {
	if c.counts.Address == "" {
		return nil, nil
	}
	told, err := stack.StartMetrics(stack.MetricsPlace{Address: c.counts.Address, TLS: c.certificates(), Telemetry: t}, closers)
	if err != nil {
		return nil, err
	}
	t.Logger().Info("telling metrics", "address", told.Address)
	return []lifecycle.Task{told.Task()}, nil
}

// certificates are those that the process is reached by; nil: in plain text.
func (c *serveConfig) certificates() *rpc.ServerTLS {
	if c.listen.Certificate == "" {
		return nil
	}
	return &rpc.ServerTLS{Certificate: c.listen.Certificate, Key: c.listen.Key, ClientCA: c.listen.ClientCA}
}

func (c *serveConfig) start(ctx context.Context, role stack.Role, t *telemetry.Telemetry, verifier *identity.Verifier, closers *lifecycle.Closers) (*stack.Service, error) {
	backend, err := stack.Outside(c.broker, c.redis, t, closers)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", role.Name, err)
	}
	backend.Improve = c.better.For
	place := stack.Place{Address: c.listen.Address, Verifier: verifier, Replica: &stack.Replica{Advertise: c.others.Advertise}}
	// Whoever is reached by TLS reaches its like by TLS.
	if c.listen.Certificate != "" {
		place.Replica.TLS = &rpc.ClientTLS{CA: c.peers.TLS.CA, Certificate: c.peers.TLS.Certificate, Key: c.peers.TLS.Key}
		place.TLS = c.certificates()
	}
	return role.Start(ctx, backend, place, closers)
}
