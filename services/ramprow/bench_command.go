package main

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"os/signal"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"ramprow/internal/platform/config"
	"ramprow/internal/platform/lifecycle"
	"ramprow/internal/platform/telemetry"
	"ramprow/services/ramprow/bench"
	"ramprow/services/ramprow/stack"
)

// benchFlags is what the command is told beside the benchmark's own settings.
type benchFlags struct {
	bench   bench.Config
	output  string
	outside bool
	broker  config.Broker
	redis   config.ReadModels
}

func benchCommand() *cobra.Command {
	var f benchFlags
	command := &cobra.Command{
		Use:     "bench",
		Short:   "Measure commands to disk, diagnosis to bay, and where the time goes",
		GroupID: groupCare,
		Long: "Measures a workshop in a temporary folder on this machine, beside what the broker and the\n" +
			"bare call can do in the same minute. A log forgets nothing: with --outside the sites of\n" +
			"the run stay on that broker, so give it one that is there for measuring.",
		Example: "  ramprow bench\n  ramprow bench --callers 1,64,256 --duration 3s --output json\n" +
			"  ramprow bench --outside --nats-url nats://127.0.0.1:4222 --redis-url redis://127.0.0.1:6379/0",
		Args: cobra.NoArgs,
		RunE: func(command *cobra.Command, _ []string) error {
			ctx, stop := signal.NotifyContext(command.Context(), syscall.SIGINT, syscall.SIGTERM)
			defer stop()
			return f.run(ctx, command.OutOrStdout(), command.ErrOrStderr())
		},
	}
	command.AddCommand(benchDiagnosisCommand())
	flags := command.Flags()
	flags.IntSliceVar(&f.bench.Callers, "callers", []int{1, 16, 64}, "numbers of callers at once")
	flags.DurationVar(&f.bench.Duration, "duration", time.Second, "time of each part of a round at one number of callers")
	flags.IntVar(&f.bench.Rounds, "rounds", 3, "rounds, whose median is told")
	flags.IntVar(&f.bench.Jobs, "jobs", 200, "jobs from diagnosis to bay; 0 leaves it out")
	flags.StringVar(&f.output, "output", "table", "table or json")
	flags.BoolVar(&f.outside, "outside", false, "use the NATS and Redis of --nats-url and --redis-url instead of embedded ones")
	unread := bindSections(command, &f.broker, &f.redis)
	command.PreRunE = func(*cobra.Command, []string) error {
		if unread != nil || !f.outside {
			return unread
		}
		return config.Validate(&f.broker, &f.redis)
	}
	command.AddCommand(benchScheduleCommand())
	return command
}

func (f *benchFlags) run(ctx context.Context, out, progress io.Writer) error {
	if f.output != "table" && f.output != "json" {
		return fmt.Errorf("--output %q is not known; use table or json", f.output)
	}
	f.bench.Progress = progress
	if f.outside {
		f.bench.Backend = func(t *telemetry.Telemetry, closers *lifecycle.Closers) (*stack.Backend, error) {
			return stack.Outside(f.broker, f.redis, t, closers)
		}
	}
	report, err := bench.Run(ctx, f.bench)
	if err != nil {
		return err
	}
	if f.output == "json" {
		encoder := json.NewEncoder(out)
		encoder.SetIndent("", "  ")
		return encoder.Encode(report)
	}
	return report.WriteTable(out)
}
