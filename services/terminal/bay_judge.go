package terminal

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

func bayJudge(o *options) *cobra.Command {
	return &cobra.Command{
		Use:   "judge",
		Short: "Say how sure the plan's promises are, and where a buffer pays",
		Long: "The plan runs 199 times with other durations. RUNS is how often a promise holds in them, RECORD how many\n" +
			"earlier promises would have held with as much time to spare: late cars, findings, illness and late parts\n" +
			"are in it. BREAKS is how many promises fail in a run because of a delay that begins with this job.",
		Example: "  ramprow bay judge",
		RunE: o.run(func(ctx context.Context, s *session, _ []string) error {
			r, err := s.Scheduling.JudgePlan(ctx, &schedulingv1.JudgePlanRequest{})
			if err != nil {
				return err
			}
			if s.json {
				return s.showJSON(r)
			}
			return s.showJudged(r)
		}),
	}
}

func (s *session) showJudged(r *schedulingv1.JudgePlanResponse) error {
	percent := func(p float64) string { return fmt.Sprintf("%.0f %%", p) }
	err := showList(s, r.GetBookings(), "Nothing is promised.", []column[*schedulingv1.JudgedBooking]{
		figure("JOB", func(b *schedulingv1.JudgedBooking) string { return number(b.GetJob()) }),
		left("WHEN", func(b *schedulingv1.JudgedBooking) string { return during(b.GetWhen(), s.now()) }),
		left("FORESEEN", func(b *schedulingv1.JudgedBooking) string { return at(b.GetForeseen(), s.now()) }),
		left("PROMISED", func(b *schedulingv1.JudgedBooking) string { return at(b.GetPromised(), s.now()) }),
		figure("RUNS", func(b *schedulingv1.JudgedBooking) string { return percent(b.GetHeldPercent()) }),
		figure("RECORD", func(b *schedulingv1.JudgedBooking) string {
			if b.LearnedPercent == nil {
				return ""
			}
			return percent(b.GetLearnedPercent())
		}),
		figure("BREAKS", func(b *schedulingv1.JudgedBooking) string { return fmt.Sprintf("%.2f", b.GetBreaks()) }),
	})
	if err != nil || len(r.GetBookings()) == 0 {
		return err
	}
	if err := s.say("All hold in %s of the runs; %.1f fail in a run on average.", percent(r.GetAllHeldPercent()), r.GetBroken()); err != nil {
		return err
	}
	l := r.GetLearned()
	if l.GetPromises() == 0 {
		return s.say("Too few finished jobs are known to learn from; nothing is added to what the runs say.")
	}
	return s.say("Of the last %d finished jobs %d were done as first promised. Four of five were done no more than %s of opening hours later than foreseen.",
		l.GetFinished(), l.GetKept(), span(l.GetMargin()))
}
