package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"

	"github.com/spf13/cobra"

	"ramprow/internal/platform/config"
	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/lifecycle"
	"ramprow/internal/platform/sitelog"
	"ramprow/internal/platform/telemetry"
	"ramprow/services/ramprow/stack"
	"ramprow/services/terminal"
)

// verifyConfig says whose logs are walked, and where.
type verifyConfig struct {
	broker config.Broker
	dir    string
	site   string // empty: all
	forget bool
}

func verifyCommand() *cobra.Command {
	c := &verifyConfig{}
	command := &cobra.Command{
		Use:   "verify [ROLE…]",
		Short: "Walk the logs and name the first gap, change or fork",
		Long: "Walks every log from its first commit to its last, while work goes on, and says of each site whether it is whole.\n" +
			"It changes nothing. The exit code is 1 if a log is damaged; deploy/RECOVERY.md says what to do then.",
		GroupID:   groupCare,
		Example:   "  ramprow verify --data .ramprow    # a folder that is not running\n  ramprow verify job --site main --nats-url nats://127.0.0.1:4222",
		ValidArgs: terminal.RoleNames(),
		Args:      cobra.OnlyValidArgs,
	}
	unread := bindSections(command, &c.broker)
	command.Flags().StringVar(&c.dir, "data", "", "a folder of `ramprow up` that is not running, instead of a server")
	command.Flags().StringVar(&c.site, "site", "", "one workshop; all if not given")
	command.Flags().BoolVar(&c.forget, "forget-snapshots", false, "then delete the snapshots, so that a log which has lost its end is taken as it is")
	command.RunE = func(command *cobra.Command, args []string) error {
		if unread != nil {
			return unread
		}
		if c.site != "" && !identity.ValidSite(c.site) {
			return fmt.Errorf("--site %q cannot be a name; use lower-case letters, digits and hyphens", c.site)
		}
		if len(args) == 0 {
			args = terminal.RoleNames()
		}
		return c.verify(command.Context(), verdicts{out: command.OutOrStdout(), notes: command.ErrOrStderr()}, args)
	}
	return command
}

func (c *verifyConfig) verify(ctx context.Context, v verdicts, roles []string) (err error) {
	t, err := telemetry.Start(ctx, telemetry.Config{Service: "ramprow-verify", Version: version, LogLevel: slog.LevelWarn, Log: v.notes})
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
		if err := c.verifyRole(ctx, &v, backend, role); err != nil {
			return fmt.Errorf("%s: %w", name, err)
		}
	}
	return v.sum()
}

// backend is a folder's own log, or that of a server.
func (c *verifyConfig) backend(t *telemetry.Telemetry, closers *lifecycle.Closers) (*stack.Backend, error) {
	if c.dir == "" {
		if err := config.Validate(&c.broker); err != nil {
			return nil, fmt.Errorf("%w\nor give --data with the folder of a workshop that is not running", err)
		}
		return stack.OutsideLog(c.broker, t, closers)
	}
	unlock, err := lockFolder(c.dir)
	if err != nil {
		return nil, err
	}
	closers.Add(lifecycle.Closer{Name: "the folder's lock", Close: func(context.Context) error { return unlock() }})
	return stack.EmbeddedLog(c.dir, t, closers)
}

func (c *verifyConfig) verifyRole(ctx context.Context, v *verdicts, backend *stack.Backend, role stack.Role) error {
	sites := []string{c.site}
	if c.site == "" {
		var err error
		if sites, err = backend.Log.KnownSites(ctx, role.Name); err != nil {
			return err
		}
	}
	for _, site := range sites {
		found, err := role.Verify(ctx, backend, site, func(done, total uint64) {
			_, _ = fmt.Fprintf(v.notes, "\r%-14s%-20s%d of %d commits", role.Name, site, done, total) // progress that nobody sees is no loss
		})
		if err := v.tell(role.Name, site, found, err); err != nil {
			return err
		}
		if !c.forget {
			continue
		}
		if err := role.Forget(ctx, backend, site); err != nil {
			return err
		}
	}
	return nil
}

// verdicts says of each site's log whether it is whole.
type verdicts struct {
	out, notes io.Writer
	walked     int
	damaged    int
}

// tell gives one verdict. The error is one that kept the log from being read.
func (v *verdicts) tell(role, site string, found sitelog.Verified, err error) error {
	v.walked++
	_, _ = fmt.Fprintf(v.notes, "\r%70s\r", "") // over the line of progress
	if d, ok := errors.AsType[*sitelog.DamagedError](err); ok {
		v.damaged++
		_, err = fmt.Fprintf(v.out, "%-14s%-20sDAMAGED at sequence %d: %s; good up to commit %d, sequence %d\n",
			role, site, d.Sequence, d.Reason, found.Chain.Number, found.Chain.Sequence)
		return err
	}
	if err != nil {
		return err
	}
	if found.Chain.Number == 0 {
		_, err = fmt.Fprintf(v.out, "%-14s%-20sempty\n", role, site)
		return err
	}
	_, err = fmt.Fprintf(v.out, "%-14s%-20swhole: %d commits with %d events, up to sequence %d\n",
		role, site, found.Chain.Number, found.Events, found.Chain.Sequence)
	return err
}

func (v *verdicts) sum() error {
	if v.damaged > 0 {
		return fmt.Errorf("%d of %d logs are damaged; stop what serves them and restore them from a copy, as deploy/RECOVERY.md says", v.damaged, v.walked)
	}
	return nil
}
