package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"ramprow/internal/platform/config"
	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/metrics"
	"ramprow/internal/platform/telemetry"
	"ramprow/services/ramprow/stack"
	"ramprow/services/terminal"
	"ramprow/services/traces"
)

// upConfig is what `ramprow up` is told.
type upConfig struct {
	dir       string
	site      string
	freePorts bool
	better    config.Improvement
	day       demoDayConfig
}

const (
	defaultSite = "main"
	upTokenTTL  = 30 * 24 * time.Hour
)

func upCommand() *cobra.Command {
	c := upConfig{better: config.Improvement{For: config.DefaultImprovement}}
	var unread error
	command := &cobra.Command{
		Use:     "up",
		Short:   "Run a whole workshop here: every role, with its log in a folder",
		GroupID: groupRun,
		Example: "  ramprow up\n  ramprow up --data /var/lib/ramprow --site north\n" +
			"  ramprow up --data /tmp/day --demo-day --speed 60    # an invented day lives in it",
		Args: cobra.NoArgs,
		RunE: func(command *cobra.Command, _ []string) error {
			if err := errors.Join(unread, config.Validate(&c.better)); err != nil {
				return err
			}
			return up(command.Context(), command.OutOrStdout(), c)
		},
	}
	unread = bindSections(command, &c.better)
	command.Flags().StringVar(&c.dir, "data", terminal.DefaultDir, "folder for the log and the keys; what is there is continued")
	command.Flags().StringVar(&c.site, "site", defaultSite, "the workshop's name in tokens")
	command.Flags().BoolVar(&c.freePorts, "free-ports", false, "listen on any free ports instead of 7100 to 7106")
	c.day.bind(command)
	return command
}

// up serves until a signal comes or ctx ends.
func up(ctx context.Context, out io.Writer, c upConfig) (err error) {
	if !identity.ValidSite(c.site) {
		return fmt.Errorf("--site %q cannot be a name; use lower-case letters, digits and hyphens", c.site)
	}
	if err := c.day.check(c.dir); err != nil {
		return err
	}
	unlock, err := lockFolder(c.dir)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, unlock()) }()
	kept, err := traces.OpenStore(filepath.Join(c.dir, "traces"), traces.Limits{}, time.Now, slog.New(slog.NewTextHandler(os.Stderr, nil)))
	if err != nil {
		return err
	}
	t, err := telemetry.Start(ctx, telemetry.Config{Service: "ramprow", Version: version, LogLevel: slog.LevelWarn, Sink: kept, Metrics: metrics.New()})
	if err != nil {
		return errors.Join(err, kept.Close())
	}
	defer func() { err = errors.Join(err, t.Shutdown(context.WithoutCancel(ctx)), kept.Close()) }()
	house := stack.WorkshopConfig{Dir: c.dir, Telemetry: t, Desk: "127.0.0.1:0", Metrics: "127.0.0.1:0", Traces: kept, Improve: c.better.For}
	if !c.freePorts {
		house.Address, house.Desk = stack.Role.Address, stack.DeskAddress
		house.TracesAddress, house.Metrics = stack.TracesAddress, stack.MetricsAddress
	}
	clock := c.day.clock()
	if clock != nil {
		house.Now = clock.Now
	}
	workshop, err := stack.OpenWorkshop(ctx, house)
	if err != nil {
		return err
	}
	// Run first: it closes the workshop whatever happens, and answers while the
	// greeting is read.
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	ended := make(chan error, 1)
	go func() { ended <- workshop.Run(ctx) }()
	if err := greet(out, workshop, c); err != nil {
		stop()
		return errors.Join(err, <-ended)
	}
	if clock == nil {
		return <-ended
	}
	living := make(chan error, 1)
	go func() { living <- c.live(ctx, out, workshop, clock, t) }()
	select {
	case err = <-living: // it could not begin
		stop()
		return errors.Join(err, <-ended)
	case err = <-ended:
		stop()
		return errors.Join(err, <-living)
	}
}

// greet leaves tokens and addresses in the folder and says how to use them.
func greet(out io.Writer, workshop *stack.Workshop, c upConfig) error {
	addresses := workshop.Addresses()
	addresses[stack.RoleDesk] = workshop.Desk.Address
	for role, address := range addresses {
		if err := leave(terminal.AddressFile(c.dir, role), address); err != nil {
			return err
		}
	}
	tokens := ""
	for _, role := range identity.Roles() {
		word := terminal.RoleWord(role)
		token, err := workshop.Token(c.site, word, upTokenTTL, role)
		if err != nil {
			return err
		}
		if err := leave(terminal.TokenFile(c.dir, word), token); err != nil {
			return err
		}
		tokens += fmt.Sprintf("  %-12s  %s\n", word, token)
	}
	return printGreeting(out, workshop, c, tokens)
}

// leave writes a file that only its owner may read, whole or not at all.
func leave(path, text string) error {
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return fmt.Errorf("make %s: %w", filepath.Dir(path), err)
	}
	fresh := path + ".new"
	if err := os.WriteFile(fresh, []byte(text+"\n"), 0o600); err != nil {
		return fmt.Errorf("write %s: %w", path, err)
	}
	if err := os.Rename(fresh, path); err != nil {
		return fmt.Errorf("write %s: %w", path, err)
	}
	return nil
}

func printGreeting(out io.Writer, workshop *stack.Workshop, c upConfig, tokens string) error {
	text := fmt.Sprintf("The workshop %q is open. Its log is in %s; Ctrl-C closes it, and `ramprow up` goes on from there.\n\n", c.site, c.dir)
	for _, s := range workshop.Services {
		text += fmt.Sprintf("  %-14s%s\n", s.Role, s.Address)
	}
	text += fmt.Sprintf("\nThe pages are at %s; sign in with a token from below, or give people PINs with `ramprow pin`.\n", workshop.Desk.URL())
	text += fmt.Sprintf("Metrics for Prometheus are at http://%s/metrics.\n", workshop.Metrics.Address)
	text += "\nIn another terminal, as dispatcher, parts-clerk, technician or owner:\n"
	if c.dir != terminal.DefaultDir {
		text += fmt.Sprintf("  export %s=%s\n", terminal.DataVariable, c.dir)
	}
	text += fmt.Sprintf("  export %s=owner\n  ramprow catalogue import FILE\n  ramprow job list\n", terminal.RoleVariable)
	text += "\nTokens for other programs, good for 30 days (kept in " + filepath.Dir(terminal.TokenFile(c.dir, "owner")) + "):\n" + tokens
	if _, err := io.WriteString(out, text); err != nil {
		return fmt.Errorf("greet: %w", err)
	}
	return nil
}
