package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"

	"github.com/spf13/cobra"

	"ramprow/internal/platform/config"
	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/lifecycle"
	"ramprow/internal/platform/telemetry"
	"ramprow/services/ramprow/stack"
	"ramprow/services/terminal"
)

// rebuildConfig says whose read models are written anew, and where.
type rebuildConfig struct {
	broker config.Broker
	redis  config.ReadModels
	dir    string
	site   string
}

func rebuildCommand() *cobra.Command {
	c := &rebuildConfig{}
	command := &cobra.Command{
		Use:       "rebuild [ROLE…]",
		Short:     "Write the read models in Redis anew from the log, while reads go on",
		GroupID:   groupCare,
		Example:   "  ramprow rebuild job --site main --nats-url nats://127.0.0.1:4222 --redis-url redis://127.0.0.1:6379/0\n  ramprow rebuild --data .ramprow    # proves that a folder that is not running can be read whole",
		ValidArgs: terminal.RoleNames(),
		Args:      cobra.OnlyValidArgs,
	}
	unread := bindSections(command, &c.broker, &c.redis)
	command.Flags().StringVar(&c.dir, "data", "", "a folder of `ramprow up` that is not running, instead of servers")
	command.Flags().StringVar(&c.site, "site", defaultSite, "the workshop")
	command.RunE = func(command *cobra.Command, args []string) error {
		if unread != nil {
			return unread
		}
		if !identity.ValidSite(c.site) {
			return fmt.Errorf("--site %q cannot be a name; use lower-case letters, digits and hyphens", c.site)
		}
		if len(args) == 0 {
			args = terminal.RoleNames()
		}
		return c.rebuild(command.Context(), command.ErrOrStderr(), args)
	}
	return command
}

func (c *rebuildConfig) rebuild(ctx context.Context, notes io.Writer, roles []string) (err error) {
	t, err := telemetry.Start(ctx, telemetry.Config{Service: "ramprow-rebuild", Version: version, LogLevel: slog.LevelWarn, Log: notes})
	if err != nil {
		return err
	}
	closers := &lifecycle.Closers{}
	closers.Add(lifecycle.Closer{Name: "telemetry", Close: t.Shutdown})
	defer func() { err = errors.Join(err, closers.Close(context.WithoutCancel(ctx))) }()
	backend, err := c.backend(t, closers)
	if err != nil {
		return err
	}
	for _, name := range roles {
		role, err := stack.RoleNamed(name)
		if err != nil {
			return err
		}
		if err := rebuildRole(ctx, notes, backend, role, c.site); err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
	}
	return nil
}

// backend is a folder's own, or that of the servers.
func (c *rebuildConfig) backend(t *telemetry.Telemetry, closers *lifecycle.Closers) (*stack.Backend, error) {
	if c.dir == "" {
		if err := config.Validate(&c.broker, &c.redis); err != nil {
			return nil, fmt.Errorf("%w\nor give --data with the folder of a workshop that is not running", err)
		}
		return stack.Outside(c.broker, c.redis, t, closers)
	}
	unlock, err := lockFolder(c.dir)
	if err != nil {
		return nil, err
	}
	closers.Add(lifecycle.Closer{Name: "the folder's lock", Close: func(context.Context) error { return unlock() }})
	return stack.Embedded(c.dir, t, closers)
}

// rebuildRole shows how far it is. A role that has never had a command at the
// site has no rows to write.
func rebuildRole(ctx context.Context, notes io.Writer, backend *stack.Backend, role stack.Role, site string) error {
	rows := 0
	err := role.Rebuild(ctx, backend, site, func(done, total int) {
		rows = total
		_, _ = fmt.Fprintf(notes, "\r%-14s%d of %d rows", role.Name, done, total) // progress that nobody sees is no loss
	})
	if err != nil && fault.KindOf(err) == fault.NotFound {
		_, err = fmt.Fprintf(notes, "%-14snothing has happened at %s\n", role.Name, site)
		return err
	}
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(notes, "\r%-14s%d rows written        \n", role.Name, rows)
	return err
}
