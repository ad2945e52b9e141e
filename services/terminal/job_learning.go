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

func jobTimes(o *options) *cobra.Command {
	return &cobra.Command{
		Use:   "times CATALOGUE",
		Short: "Show what finished jobs have taught of how long work takes",
		Long: "Shows the median time of each piece of work as the catalogue has it and as posted times have moved it, and everybody's\n" +
			"pace: above 1 is slower than expected. Plans go by the learned times, at everybody's pace.",
		Example: "  ramprow job times marlow-orrin",
		RunE: o.run(func(ctx context.Context, s *session, args []string) error {
			r, err := s.Learning.ListTimes(ctx, &jobv1.ListTimesRequest{Catalogue: args[0]})
			if err != nil {
				return err
			}
			if s.json {
				return s.showJSON(r)
			}
			if err := s.say("The catalogue's estimate counts as %.0f posted times.", r.GetPriorTimes()); err != nil {
				return err
			}
			err = showList(s, r.GetTimes(), "No time was learned yet: a job teaches when it has repaired something and is closed.", []column[*jobv1.LearnedTime]{
				left("WORK", (*jobv1.LearnedTime).GetWork),
				figure("CATALOGUE", func(t *jobv1.LearnedTime) string { return span(t.GetPrior()) }),
				figure("LEARNED", func(t *jobv1.LearnedTime) string { return span(t.GetLearned()) }),
				figure("TIMES", func(t *jobv1.LearnedTime) string { return fmt.Sprint(t.GetTimes()) }),
			})
			if err != nil || len(r.GetPaces()) == 0 {
				return err
			}
			return showList(s, r.GetPaces(), "", []column[*jobv1.Pace]{
				left("WHO", (*jobv1.Pace).GetPerson),
				figure("PACE", func(p *jobv1.Pace) string { return fmt.Sprintf("%.2f", p.GetFactor()) }),
				figure("TIMES", func(p *jobv1.Pace) string { return fmt.Sprint(p.GetTimes()) }),
			})
		}),
	}
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
