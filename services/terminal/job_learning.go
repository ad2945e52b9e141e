package terminal

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	jobv1 "ramprow/proto/ramprow/job/v1"
)

func jobRates(o *options) *cobra.Command {
	var all bool
	command := &cobra.Command{
		Use:   "rates CATALOGUE",
		Short: "Show what finished jobs have taught of a family's faults",
		Long: "Shows each rate as the catalogue has it and as this site's finished jobs have moved it: the mean of a Beta\n" +
			"distribution in which the catalogue's number counts as much as a stated number of cases. Diagnoses go by it.",
		Example: "  ramprow job rates marlow-orrin\n  ramprow job rates marlow-orrin --all --output json",
		RunE: o.run(func(ctx context.Context, s *session, args []string) error {
			r, err := s.Learning.ListRates(ctx, &jobv1.ListRatesRequest{Catalogue: args[0], All: all})
			if err != nil {
				return err
			}
			if s.json {
				return s.showJSON(r)
			}
			if err := s.say("%s; the catalogue's numbers count as %.0f more.", plural(r.GetCases(), "case"), r.GetPriorCases()); err != nil {
				return err
			}
			return showList(s, r.GetRates(), "No job has taught anything yet: one does when it is closed.", []column[*jobv1.Rate]{
				left("RATE", func(r *jobv1.Rate) string { return word(r.GetKind()) }),
				left("OF", (*jobv1.Rate).GetOf),
				left("CAUSE", (*jobv1.Rate).GetCause),
				figure("CATALOGUE %", func(r *jobv1.Rate) string { return fmt.Sprintf("%.2f", 100*r.GetPrior()) }),
				figure("LEARNED %", func(r *jobv1.Rate) string { return fmt.Sprintf("%.2f", 100*r.GetLearned()) }),
				figure("WITH", func(r *jobv1.Rate) string { return fmt.Sprint(r.GetWith()) }),
				figure("CASES", func(r *jobv1.Rate) string { return fmt.Sprint(r.GetCases()) }),
			})
		}),
	}
	command.Flags().BoolVar(&all, "all", false, "rates that no case bears on, too")
	return command
}

func jobCases(o *options) *cobra.Command {
	return &cobra.Command{
		Use:     "cases CATALOGUE",
		Short:   "List the finished jobs that teach, and those that were struck out",
		Example: "  ramprow job cases marlow-orrin",
		RunE: o.run(func(ctx context.Context, s *session, args []string) error {
			r, err := s.Learning.ListCases(ctx, &jobv1.ListCasesRequest{Catalogue: args[0]})
			if err != nil {
				return err
			}
			return showList(s, r.GetCases(), "No case yet: a job is one when it has repaired something and is closed.", []column[*jobv1.Case]{
				figure("JOB", func(c *jobv1.Case) string { return number(c.GetJob()) }),
				left("CLOSED", func(c *jobv1.Case) string { return at(c.GetAt(), s.now()) }),
				left("FOUND", func(c *jobv1.Case) string { return strings.Join(c.GetFound(), ", ") }),
				left("COUNTS", func(c *jobv1.Case) string {
					if c.GetStruck() {
						return "no: " + c.GetReason() + " (" + c.GetBy() + ")"
					}
					return "yes"
				}),
			})
		}),
	}
}

func jobStrike(o *options) *cobra.Command {
	return &cobra.Command{
		Use:     "strike JOB REASON",
		Short:   "Let a finished job teach nothing any more; what it taught is taken back",
		Example: "  ramprow job strike 17 'came back a week later: it was the wiring'",
		RunE: o.onJob(func(ctx context.Context, s *session, job string, rest []string) error {
			r, err := s.Learning.StrikeCase(ctx, &jobv1.StrikeCaseRequest{RequestId: s.once(), Job: job, Reason: rest[0]})
			if err != nil {
				return err
			}
			return s.answer(r, job+": counts no more"+repeated(r.GetReceipt()), "")
		}),
	}
}

func jobRestore(o *options) *cobra.Command {
	return &cobra.Command{
		Use:     "restore JOB REASON",
		Short:   "Let a job that was struck out teach again",
		Example: "  ramprow job restore 17 'the wiring was another fault'",
		RunE: o.onJob(func(ctx context.Context, s *session, job string, rest []string) error {
			r, err := s.Learning.RestoreCase(ctx, &jobv1.RestoreCaseRequest{RequestId: s.once(), Job: job, Reason: rest[0]})
			if err != nil {
				return err
			}
			return s.answer(r, job+": counts again"+repeated(r.GetReceipt()), "")
		}),
	}
}
