package terminal

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	jobv1 "ramprow/proto/ramprow/job/v1"
)

func jobDiagnose(o *options) *cobra.Command {
	return &cobra.Command{
		Use:     "diagnose JOB",
		Short:   "Rank what may be broken, and say what to do next",
		Example: "  ramprow job diagnose 17",
		RunE: o.onJob(func(ctx context.Context, s *session, job string, _ []string) error {
			r, err := s.Job.Diagnose(ctx, &jobv1.DiagnoseRequest{Job: job, MinRevision: s.atLeast})
			if err != nil {
				return err
			}
			if s.json {
				return s.showJSON(r)
			}
			return s.showDiagnosis(r, number(job))
		}),
	}
}

func (s *session) showDiagnosis(r *jobv1.DiagnoseResponse, n string) error {
	if r.GetContradiction() != "" {
		if err := s.say("The evidence contradicts itself: %s", r.GetContradiction()); err != nil {
			return err
		}
	}
	if len(r.GetCauses()) == 0 {
		return s.say("No cause fits yet. Record codes and symptoms: ramprow job codes %s CODE… --moment intake", n)
	}
	if err := writeTable(s.out, r.GetCauses(), causeColumns()); err != nil {
		return err
	}
	if len(r.GetActions()) > 0 {
		if err := s.say(""); err != nil {
			return err
		}
		if err := writeTable(s.out, r.GetActions(), actionColumns()); err != nil {
			return err
		}
	}
	if r.GetStopTesting() {
		return s.say("\nTesting on costs more than opening. Next: ramprow job confirm %s %s", n, r.GetCauses()[0].GetCause())
	}
	return s.say("\nNext: ramprow job test %s TEST positive|negative, or ramprow job plan %s %s", n, n, r.GetCauses()[0].GetCause())
}

func causeColumns() []column[*jobv1.RankedCause] {
	return []column[*jobv1.RankedCause]{
		figure("%", func(c *jobv1.RankedCause) string { return fmt.Sprintf("%.1f", 100*c.GetProbability()) }),
		left("CAUSE", (*jobv1.RankedCause).GetCause),
		left("WHAT", (*jobv1.RankedCause).GetTitle),
		figure("REPAIR", func(c *jobv1.RankedCause) string { return span(c.GetRepair()) }),
		left("FOR", func(c *jobv1.RankedCause) string { return strings.Join(c.GetEvidenceFor(), ", ") }),
		left("AGAINST", func(c *jobv1.RankedCause) string { return strings.Join(c.GetEvidenceAgainst(), ", ") }),
	}
}

func actionColumns() []column[*jobv1.NextAction] {
	return []column[*jobv1.NextAction]{
		left("DO NEXT", func(a *jobv1.NextAction) string { return word(a.GetKind()) + " " + a.GetSubject() }),
		left("WHAT", (*jobv1.NextAction).GetTitle),
		figure("TAKES", func(a *jobv1.NextAction) string { return span(a.GetTakes()) }),
		figure("ALL IN", func(a *jobv1.NextAction) string { return span(a.GetExpected()) }),
		left("WHY", (*jobv1.NextAction).GetReason),
	}
}

func jobPlan(o *options) *cobra.Command {
	var w wayFlags
	command := &cobra.Command{
		Use:     "plan JOB CAUSE…",
		Short:   "Show what repairing these causes would take; changes nothing",
		Example: "  ramprow job plan 17 follower-4\n  ramprow job plan 17 follower-4 --by-the-book",
		RunE: o.onJob(func(ctx context.Context, s *session, job string, rest []string) error {
			r, err := s.Job.PreviewPlan(ctx, &jobv1.PreviewPlanRequest{Job: job, Causes: rest, Way: w.way(), MinRevision: s.atLeast})
			if err != nil {
				return err
			}
			if s.json {
				return s.showJSON(r)
			}
			if err := s.showPlan(r.GetPlan(), r.GetWhileOpen()); err != nil {
				return err
			}
			return s.say("\nNext: ramprow job confirm %s %s%s", number(job), strings.Join(rest, " "), wayWords(w.way()))
		}),
	}
	w.add(command)
	return command
}

func (s *session) showPlan(p *jobv1.Plan, whileOpen []*jobv1.Suggestion) error {
	if err := writeTable(s.out, stepRows(&jobv1.Job{Plan: p}), stepColumns()); err != nil {
		return err
	}
	c := &card{}
	c.add("Time", effort(p))
	c.add("Price", fmt.Sprintf("%s: labour %s, parts %s, without tax", money(estimate(p)), money(p.GetLabourEstimate()), money(p.GetPartsEstimate())))
	for _, part := range p.GetParts() {
		c.add("Part", fmt.Sprintf("%s  %s  %s  %s%s", part.GetPart(), quantity(part.GetQuantity(), part.GetUnit()), part.GetTitle(), money(part.GetPrice()), condition(part)))
	}
	c.add("Skills", strings.Join(p.GetSkills(), ", "))
	for _, t := range p.GetTools() {
		c.add("Tool", t.GetTitle()+" ("+t.GetTool()+")")
	}
	c.add("Bays", strings.Join(p.GetBayKinds(), ", "))
	c.add("Way", p.GetWay().GetName())
	for _, w := range whileOpen {
		c.add("While open", fmt.Sprintf("%s, %s more: %s", w.GetTitle(), span(w.GetExtra()), w.GetReason()))
	}
	for _, why := range p.GetRejected() {
		c.add("Left aside", why)
	}
	if err := s.say(""); err != nil {
		return err
	}
	return c.write(s.out)
}

func condition(p *jobv1.PartWanted) string {
	if p.GetFeature() == "" {
		return ""
	}
	return fmt.Sprintf("  (only if %s is %s)", p.GetFeature(), p.GetValue())
}

func effort(p *jobv1.Plan) string {
	return fmt.Sprintf("%s at half, %s four times of five", span(p.GetEffort().GetP50()), span(p.GetEffort().GetP80()))
}

func jobConfirm(o *options) *cobra.Command {
	var reason string
	var again []string
	var w wayFlags
	command := &cobra.Command{
		Use:   "confirm JOB CAUSE…",
		Short: "Say what is broken: the plan is made, parts are held, a bay is booked",
		Example: "  ramprow job confirm 17 follower-4\n  ramprow job confirm 17 follower-4 coil-2 --reason 'second fault found'\n" +
			"  ramprow job confirm 17 coil-2 --again coil-2 --reason 'the new coil is bad too'\n  ramprow job confirm 17 follower-4 --by-the-book",
		RunE: o.changeJob(func(ctx context.Context, s *session, job string, rest []string) (jobAnswer, string, error) {
			r, err := s.Job.ConfirmDiagnosis(ctx, &jobv1.ConfirmDiagnosisRequest{RequestId: s.once(), Job: job, Causes: rest, Reason: reason, Way: w.way(), Again: again})
			p := r.GetJob().GetPlan()
			return r, fmt.Sprintf("confirmed. %s; %s; %s without tax", plural(len(p.GetSteps()), "step"), effort(p), money(estimate(p))), err
		}),
	}
	command.Flags().StringVar(&reason, "reason", "", "why, if it was confirmed otherwise before")
	command.Flags().StringSliceVar(&again, "again", nil, "cause whose repair was done and has to be done once more; may be repeated")
	w.add(command)
	return command
}
