package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"time"

	"github.com/spf13/cobra"

	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/telemetry"
	"ramprow/services/ramprow/stack"
	"ramprow/services/ramprow/story"
	"ramprow/services/terminal"
)

// demoSite is the invented workshop.
const demoSite = "farrowby"

func demoCommand() *cobra.Command {
	var keep bool
	command := &cobra.Command{
		Use:     "demo",
		Short:   "Run a whole job through a workshop in a temporary folder, and tell it",
		GroupID: groupRun,
		Example: "  ramprow demo\n  ramprow demo --keep    # leave it running afterwards, to look around",
		Args:    cobra.NoArgs,
		RunE: func(command *cobra.Command, _ []string) error {
			return runDemo(command.Context(), command.OutOrStdout(), keep)
		},
	}
	command.Flags().BoolVar(&keep, "keep", false, "leave the workshop running until Ctrl-C")
	return command
}

// runDemo starts a workshop on free ports, tells the story, and cleans up.
func runDemo(ctx context.Context, out io.Writer, keep bool) (err error) {
	dir, err := os.MkdirTemp("", "ramprow-demo-")
	if err != nil {
		return fmt.Errorf("make a temporary folder: %w", err)
	}
	defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	t, err := telemetry.Start(ctx, telemetry.Config{Service: "ramprow-demo", Version: version, LogLevel: slog.LevelWarn})
	if err != nil {
		return err
	}
	workshop, err := stack.OpenWorkshop(ctx, stack.WorkshopConfig{Dir: dir, Telemetry: t})
	if err != nil {
		return err
	}
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	ended := make(chan error, 1)
	go func() { ended <- workshop.Run(ctx) }()
	err = tell(ctx, out, workshop, t)
	if err == nil && keep {
		return errors.Join(invite(out, workshop), <-ended, t.Shutdown(context.WithoutCancel(ctx)))
	}
	stop()
	return errors.Join(err, <-ended, t.Shutdown(context.WithoutCancel(ctx)))
}

func tell(ctx context.Context, out io.Writer, workshop *stack.Workshop, t *telemetry.Telemetry) (err error) {
	clients, err := terminal.Dial(terminal.DialConfig{Addresses: workshop.Addresses(), Telemetry: t})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, clients.Close()) }()
	began := time.Now()
	ending, err := story.Tell(ctx, story.Config{
		Clients: clients,
		Token: func(person string, role identity.Role) (string, error) {
			return workshop.Token(demoSite, person, time.Hour, role)
		},
		Out: out,
		Now: time.Now,
	})
	if err != nil {
		return err
	}
	_, err = fmt.Fprintf(out, "\n%s became invoice %s in %.1f s. Trace of the diagnosis: %s\n",
		ending.Job, ending.Invoice, time.Since(began).Seconds(), ending.TraceID)
	return err
}

// invite says how to look around in a workshop that was kept.
func invite(out io.Writer, workshop *stack.Workshop) error {
	token, err := workshop.Token(demoSite, "ines", time.Hour, identity.Owner)
	if err != nil {
		return err
	}
	_, err = fmt.Fprintln(out, "\nThe workshop runs until Ctrl-C. In another terminal:")
	for role, address := range workshop.Addresses() {
		_, printErr := fmt.Fprintf(out, "  export %s=%s\n", terminal.AddressVariable(role), address)
		err = errors.Join(err, printErr)
	}
	_, printErr := fmt.Fprintf(out, "  export %s=%s\n  ramprow job list --with-finished\n", terminal.TokenVariable, token)
	return errors.Join(err, printErr)
}
