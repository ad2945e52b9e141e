package main

import (
	"os/signal"
	"syscall"

	"github.com/spf13/cobra"

	"ramprow/services/ramprow/bench/bays"
)

func benchBaysCommand() *cobra.Command {
	var c bays.Config
	var output benchOutput
	var large, small bool
	command := &cobra.Command{
		Use:   "bays",
		Short: "Measure the planning of whole workshops, operation by operation and job by job",
		Long: "Draws a small workshop (5 bays, 6 people, 20 jobs) and a large one (30 bays, 40 people, 200 jobs of 15\n" +
			"operations) with shifts, overtime, lags and special tools, and tells what the first plan costs, what\n" +
			"searching longer makes of it, beside a bound, and what one illness changes. Then the same with each job\n" +
			"as one piece of work, as bookings are made: also what 20 ms make of it. Every plan is held against the\n" +
			"checker.",
		Example: "  ramprow bench bays\n  ramprow bench bays --large=false --seconds 1,10\n  ramprow bench bays --jobs-only    # as bookings are made",
		Args:    cobra.NoArgs,
		RunE: func(command *cobra.Command, _ []string) error {
			if err := output.known(); err != nil {
				return err
			}
			ctx, stop := signal.NotifyContext(command.Context(), syscall.SIGINT, syscall.SIGTERM)
			defer stop()
			if small {
				c.Sizes = append(c.Sizes, bays.Size{Bays: 5, People: 6, Jobs: 20, Operations: 15})
			}
			if large {
				c.Sizes = append(c.Sizes, bays.Size{Bays: 30, People: 40, Jobs: 200, Operations: 15})
			}
			c.Progress = command.ErrOrStderr()
			report, err := bays.Run(ctx, c)
			if err != nil {
				return err
			}
			return output.tell(command.OutOrStdout(), report, report.WriteTable)
		},
	}
	flags := command.Flags()
	flags.Float64SliceVar(&c.Seconds, "seconds", []float64{1, 60}, "times of search after which the plan is looked at")
	flags.Uint64Var(&c.Seed, "seed", 1, "seed of the workshops and of the search")
	flags.IntVar(&c.Islands, "islands", 0, "searches at the same time; 0: one for each processor")
	flags.BoolVar(&small, "small", true, "the small workshop")
	flags.BoolVar(&large, "large", true, "the large workshop")
	flags.BoolVar(&c.WholeOnly, "jobs-only", false, "leave out the planning of operations")
	output.flag(command)
	return command
}
