package main

import (
	"fmt"
	"io"
	"os/signal"
	"syscall"

	"github.com/spf13/cobra"

	"ramprow/services/ramprow/bench/month"
)

func benchMonthCommand() *cobra.Command {
	var months int
	var output benchOutput
	command := &cobra.Command{
		Use:   "month",
		Short: "Let a simulated workshop work for months, and compare ways of deciding what is next",
		Long: "Five bays, six people, seven cars a day. One car in six comes late, one in seven shows more work once\n" +
			"it is open, people fall ill, one in four needs parts that are still to come, and one such delivery in\n" +
			"five is a day late. The planner is compared with first come, first served and with shortest first.",
		Example: "  ramprow bench month\n  ramprow bench month --months 3 --output json",
		Args:    cobra.NoArgs,
		RunE: func(command *cobra.Command, _ []string) error {
			if months < 1 || months > 1000 {
				return fmt.Errorf("--months %d cannot be simulated; use 1 to 1000", months)
			}
			if err := output.known(); err != nil {
				return err
			}
			ctx, stop := signal.NotifyContext(command.Context(), syscall.SIGINT, syscall.SIGTERM)
			defer stop()
			results, err := month.Run(ctx, months)
			if err != nil {
				return err
			}
			return output.tell(command.OutOrStdout(), results, func(w io.Writer) error { return month.WriteTable(w, results, months) })
		},
	}
	command.Flags().IntVar(&months, "months", 10, "months to simulate")
	output.flag(command)
	return command
}
