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
	"ramprow/internal/platform/readmodel"
	"ramprow/internal/platform/rpc"
	"ramprow/internal/platform/telemetry"
	"ramprow/services/desk"
	"ramprow/services/ramprow/stack"
	"ramprow/services/terminal"
)

// deskConfig is what the desk alone is told.
type deskConfig struct {
	services map[string]*string
	people   string
	pinKey   string
}

func (c *deskConfig) bind(command *cobra.Command) {
	c.services = map[string]*string{}
	for _, role := range append(terminal.RoleNames(), stack.RoleTraces) {
		c.services[role] = command.Flags().String(role+"-address", "",
			fmt.Sprintf("for the desk: host:port of %s (environment: %s; otherwise %s)", role, terminal.AddressVariable(role), terminal.DefaultAddress(role)))
	}
	command.Flags().StringVar(&c.people, "people", "", "for the desk: register of those who sign in by PIN, as `ramprow pin` writes it")
	command.Flags().StringVar(&c.pinKey, "pin-key", "", "for the desk: private token key, with which those who sign in by PIN are given a token")
	command.MarkFlagsRequiredTogether("people", "pin-key")
}

func (c *deskConfig) addresses() map[string]string {
	addresses := map[string]string{}
	for role, flag := range c.services {
		addresses[role] = cmp.Or(*flag, os.Getenv(terminal.AddressVariable(role)), terminal.DefaultAddress(role))
	}
	return addresses
}

// register gives who may sign in by PIN; nil: nobody.
func (c *deskConfig) register() (*desk.People, error) {
	if c.people == "" {
		return nil, nil
	}
	key, err := identity.LoadKey(c.pinKey)
	if err != nil {
		return nil, err
	}
	return desk.OpenPeople(c.people, identity.NewSigner(identity.SignerConfig{Key: key})), nil
}

// serveDesk serves the pages until a signal comes or ctx ends.
func (c *serveConfig) serveDesk(ctx context.Context, notes io.Writer) (err error) {
	c.listen.Address = cmp.Or(c.listen.Address, stack.DeskAddress)
	if err := config.Validate(&c.redis, &c.listen, &c.tokens, &c.peers, &c.counts); err != nil {
		return err
	}
	verifier, err := c.verifier()
	if err != nil {
		return err
	}
	people, err := c.desk.register()
	if err != nil {
		return err
	}
	t, err := telemetry.Start(ctx, telemetry.Config{
		Service: "ramprow-desk", Version: version, LogLevel: slog.LevelInfo, LogFormat: telemetry.Format(c.format), Log: notes,
		Metrics: c.counter(),
	})
	if err != nil {
		return err
	}
	closers := &lifecycle.Closers{}
	closers.Add(lifecycle.Closer{Name: "telemetry", Close: t.Shutdown})
	served, err := c.startDesk(t, verifier, people, closers)
	tasks, tellErr := c.tell(t, closers)
	err = errors.Join(err, tellErr)
	if err != nil {
		return errors.Join(err, closers.Close(context.WithoutCancel(ctx)))
	}
	t.Logger().InfoContext(ctx, "serving", "role", stack.RoleDesk, "address", served.URL())
	process := lifecycle.Process{Log: t.Logger(), Closers: closers, Ready: func(bool) {}, DrainDelay: c.drain}
	return process.Run(ctx, append(tasks, served.Task())...)
}

func (c *serveConfig) startDesk(t *telemetry.Telemetry, verifier *identity.Verifier, people *desk.People, closers *lifecycle.Closers) (*stack.Desk, error) {
	store, err := readmodel.Connect(readmodel.Options{URL: c.redis.URL})
	if err != nil {
		return nil, err
	}
	closers.Add(lifecycle.Closer{Name: "the sessions' connection", Close: func(context.Context) error { return store.Close() }})
	place := stack.DeskPlace{
		Address: c.listen.Address, Services: c.desk.addresses(), Store: store, Verifier: verifier, People: people,
		Certificate: c.listen.Certificate, Key: c.listen.Key, Telemetry: t, Now: time.Now,
	}
	if c.peers.TLS.CA != "" {
		place.Peers = &rpc.ClientTLS{CA: c.peers.TLS.CA, Certificate: c.peers.TLS.Certificate, Key: c.peers.TLS.Key}
	}
	return stack.StartDesk(place, closers)
}
