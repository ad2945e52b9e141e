package main

import (
	"fmt"
	"os/signal"
	"sync"
	"syscall"

	"github.com/spf13/cobra"

	"ramprow/services/ramprow/bench/projects"
)

func benchScheduleCommand() *cobra.Command {
	var c projects.Config
	var output benchOutput
	var each bool
	command := &cobra.Command{
		Use:   "schedule FOLDER...",
		Short: "Measure the planning engine's search on published instances",
		Long: "Solves every instance of each folder and tells how far the schedules are from the best known\n" +
			"values and from the critical path, how many are proved to be optimal, and how many schedules\n" +
			"a core makes in a second. Every schedule is held against the checker.\n\n" +
			"A file's ending tells its form: .sm and .rcp are projects; .jsp, .jss, .txt and no ending are\n" +
			"job shops: the numbers of jobs and machines, then a line of machine and duration pairs for each\n" +
			"job, machines counted from 0. Lines that begin with a word are skipped, but for 'operators 4'\n" +
			"(four people of whom each operation holds one) and 'operator 0 2' (one more, who can run the\n" +
			"machines 0 and 2 only); an operation may be handed over from one to another.\n\n" +
			"Best known values come from the file beside a folder that has its name and .csv: with the\n" +
			"columns instance, optimal_or_best_known and, if wanted, proven_optimal.",
		Example: "  ramprow bench schedule psplib/j30 psplib/j60 psplib/j120 --schedules 1000,5000\n" +
			"  ramprow bench schedule jobshops --seconds 10 --operators 4 --instances",
		Args: cobra.MinimumNArgs(1),
		RunE: func(command *cobra.Command, folders []string) error {
			if err := output.known(); err != nil {
				return err
			}
			ctx, stop := signal.NotifyContext(command.Context(), syscall.SIGINT, syscall.SIGTERM)
			defer stop()
			c.Folders, c.Progress = folders, command.ErrOrStderr()
			if each {
				var lines sync.Mutex
				c.Each = func(o projects.Outcome) {
					lines.Lock()
					defer lines.Unlock()
					_, _ = fmt.Fprintf(command.ErrOrStderr(), "%s %s: %d, bound %d, path %d, known %d, %d schedules in %.2f s, %d dead ends in %.2f s\n", // nobody may be looking
						o.Set, o.Instance, o.Makespan, o.Bound, o.Path, o.Known, o.Schedules, o.Spent.Seconds(), o.Conflicts, o.Proof.Seconds())
				}
			}
			report, err := projects.Run(ctx, c)
			if err != nil {
				return err
			}
			return output.tell(command.OutOrStdout(), report, report.WriteTable)
		},
	}
	flags := command.Flags()
	flags.IntSliceVar(&c.Schedules, "schedules", nil, "counts of schedules for each instance; each makes a row")
	flags.Float64Var(&c.Seconds, "seconds", 0, "seconds of one core for each instance; 0: bounded by --schedules alone")
	flags.Float64Var(&c.Prove, "prove", 0, "seconds of one core for each instance, in which the search and then the proof are made; 0: no proof")
	flags.Uint64Var(&c.Seed, "seed", 1, "seed of the search")
	flags.IntVar(&c.Every, "every", 1, "take one instance in so many, by name")
	flags.IntVar(&c.Operators, "operators", 0, "people in every job shop, of whom each operation holds one")
	flags.IntVar(&c.Islands, "islands", 0, "populations that share an instance's schedules and run at the same time; times are then the wall's")
	flags.IntVar(&c.Workers, "at-once", 0, "instances solved at once; 0: one for each processor")
	flags.StringVar(&c.Known, "known", "", "table of best known values for all folders")
	flags.BoolVar(&each, "instances", false, "tell each instance as well")
	output.flag(command)
	return command
}
