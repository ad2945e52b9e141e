package main

import (
	"context"
	"fmt"
	"io"
	"runtime"
	"time"

	"github.com/spf13/cobra"

	"ramprow/services/ramprow/simulate"
)

func simulateCommand() *cobra.Command {
	var c simulate.Campaign
	command := &cobra.Command{
		Use:     "simulate",
		Short:   "Let simulated days with every kind of fault pass, and check the logs they leave",
		GroupID: groupCare,
		Long: "Lets simulated days pass: the four services on a log in memory, with crashes, lost answers,\n" +
			"double leases, slow followers and jumping clocks. A day is made by its seed alone; the same\n" +
			"seed with the same number of steps gives the same day again. A broken rule is shown with the\n" +
			"shortest history that still breaks it, and the command fails.",
		Example: "  ramprow simulate --seeds 2000\n  ramprow simulate --seeds 1 --from 417    # that day again",
		Args:    cobra.NoArgs,
		RunE: func(command *cobra.Command, _ []string) error {
			return runSimulate(command.Context(), command.OutOrStdout(), c)
		},
	}
	command.Flags().IntVar(&c.Seeds, "seeds", 200, "how many days")
	command.Flags().Uint64Var(&c.From, "from", 0, "the first seed")
	command.Flags().IntVar(&c.Steps, "steps", 0, "steps of a day; 0: short ones, and every tenth long")
	command.Flags().IntVar(&c.Workers, "workers", runtime.GOMAXPROCS(0), "days at the same time")
	return command
}

// progressEvery is how often a campaign tells how far it is.
const progressEvery = 5 * time.Second

func runSimulate(ctx context.Context, out io.Writer, c simulate.Campaign) error {
	began, told := time.Now(), time.Now()
	days, answered, commits := 0, 0, 0
	var broken *simulate.Verdict
	c.Each = func(v simulate.Verdict) bool {
		days, answered, commits = days+1, answered+v.Answered, commits+v.Commits
		if len(v.Violations) > 0 {
			broken = &v
			return false
		}
		if time.Since(told) >= progressEvery {
			told = time.Now()
			_, err := fmt.Fprintf(out, "%d of %d days, %.1f a second\n", days, c.Seeds, float64(days)/time.Since(began).Seconds())
			return err == nil
		}
		return true
	}
	if err := c.Run(ctx); err != nil {
		return err
	}
	if broken != nil {
		return tellBroken(out, *broken)
	}
	_, err := fmt.Fprintf(out, "%d days from seed %d, %d answers, %d commits: no rule broken (%.1f days a second).\n",
		days, c.From, answered, commits, float64(days)/time.Since(began).Seconds())
	return err
}

// tellBroken shows the shortest history that breaks the same rule.
func tellBroken(out io.Writer, v simulate.Verdict) error {
	if _, err := fmt.Fprintf(out, "Seed %d breaks a rule: %s\nLooking for its shortest history …\n", v.Day.Seed, v.Violations[0]); err != nil {
		return err
	}
	short, err := v.Shrink()
	if err != nil {
		return err
	}
	for _, line := range short.Transcript {
		if _, err := fmt.Fprintln(out, line); err != nil {
			return err
		}
	}
	for _, violation := range short.Violations {
		if _, err := fmt.Fprintln(out, violation); err != nil {
			return err
		}
	}
	return fmt.Errorf("seed %d breaks a rule: %s; 'ramprow simulate --seeds 1 --from %d --steps %d' shows it again",
		v.Day.Seed, v.Violations[0], v.Day.Seed, v.Day.Steps)
}
