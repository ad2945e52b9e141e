package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"ramprow/services/ramprow/bench"
)

// holdsFlags is what `bench holds` is told.
type holdsFlags struct {
	holds  bench.HoldsConfig
	output benchOutput
}

func benchHoldsCommand() *cobra.Command {
	var f holdsFlags
	command := &cobra.Command{
		Use:   "holds",
		Short: "Let many callers fight for the last pieces while the inventory is killed, and prove that nothing is promised twice",
		Long: "Runs an inventory as a process of its own over a broker in a temporary folder, lets callers hold,\n" +
			"release, issue, receive and count, kills the process now and then, and reads the log afterwards:\n" +
			"what is on hand is received less issued give or take the counts, no hold is half made, and one\n" +
			"order of all calls explains every answer. Ends with an error if any of it is not so.",
		Example: "  ramprow bench holds\n  ramprow bench holds --holds 500 --kills 2 --duration 0s --output json",
		Args:    cobra.NoArgs,
		RunE: func(command *cobra.Command, _ []string) error {
			ctx, stop := signal.NotifyContext(command.Context(), syscall.SIGINT, syscall.SIGTERM)
			defer stop()
			return f.run(ctx, command.OutOrStdout(), command.ErrOrStderr())
		},
	}
	flags := command.Flags()
	flags.IntVar(&f.holds.Callers, "callers", 64, "callers at once")
	flags.IntVar(&f.holds.Parts, "parts", 20, "parts that they fight for")
	flags.IntVar(&f.holds.Holds, "holds", 10_000, "holds that are asked for")
	flags.IntVar(&f.holds.Kills, "kills", 5, "how often the inventory is killed")
	flags.DurationVar(&f.holds.Duration, "duration", time.Second, "time of each leg of the throughput; 0 leaves it out")
	flags.DurationVar(&f.holds.Check, "check", 5*time.Minute, "time at most to look for the order of the calls")
	f.output.flag(command)
	return command
}

func (f *holdsFlags) run(ctx context.Context, out, progress io.Writer) (err error) {
	if err := f.output.known(); err != nil {
		return err
	}
	f.holds.Progress = progress
	if f.holds.Program, err = os.Executable(); err != nil {
		return fmt.Errorf("find this program: %w", err)
	}
	report, err := bench.RunHolds(ctx, f.holds)
	if err != nil {
		return err
	}
	return f.output.tell(out, report, report.WriteTable)
}
