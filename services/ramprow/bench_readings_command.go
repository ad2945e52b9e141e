package main

import (
	"context"
	"io"
	"os/signal"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"ramprow/services/ramprow/bench"
)

// readingsFlags is what `bench readings` is told.
type readingsFlags struct {
	readings bench.ReadingsConfig
	output   benchOutput
}

func benchReadingsCommand() *cobra.Command {
	var f readingsFlags
	command := &cobra.Command{
		Use:   "readings",
		Short: "Measure tightening: readings judged and synced beside the broker alone, and curves of several tools at once",
		Long: "Runs a torque audit over an embedded broker in a temporary folder. People tighten bolt after bolt\n" +
			"through gRPC, each reading judged and synced before the next, beside as many bare messages to the\n" +
			"same broker; tools stream their curves, which are analysed and kept, beside such as are only\n" +
			"received. Afterwards the log must hold every answered reading and curve once.",
		Example: "  ramprow bench readings\n  ramprow bench readings --callers 1 --tools 4 --duration 500ms --output json",
		Args:    cobra.NoArgs,
		RunE: func(command *cobra.Command, _ []string) error {
			ctx, stop := signal.NotifyContext(command.Context(), syscall.SIGINT, syscall.SIGTERM)
			defer stop()
			return f.run(ctx, command.OutOrStdout(), command.ErrOrStderr())
		},
	}
	flags := command.Flags()
	flags.IntVar(&f.readings.Callers, "callers", 32, "people who tighten at once, each their own car")
	flags.IntVar(&f.readings.Tools, "tools", 8, "tools that send curves at once")
	flags.IntVar(&f.readings.Samples, "samples", 20_000, "samples of a curve")
	flags.DurationVar(&f.readings.Duration, "duration", time.Second, "time of each leg of a round")
	flags.IntVar(&f.readings.Rounds, "rounds", 5, "rounds, whose median is told")
	f.output.flag(command)
	return command
}

func (f *readingsFlags) run(ctx context.Context, out, progress io.Writer) error {
	if err := f.output.known(); err != nil {
		return err
	}
	f.readings.Progress = progress
	report, err := bench.RunReadings(ctx, f.readings)
	if err != nil {
		return err
	}
	return f.output.tell(out, report, report.WriteTable)
}
