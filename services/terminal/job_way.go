package terminal

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	jobv1 "ramprow/proto/ramprow/job/v1"
)

// wayFlags narrow how the car is opened.
type wayFlags struct {
	through, without []string
	byTheBook        bool
}

func (w *wayFlags) add(command *cobra.Command) {
	flags := command.Flags()
	flags.StringSliceVar(&w.through, "through", nil, "operation that must be gone through; may be repeated")
	flags.StringSliceVar(&w.without, "without", nil, "operation that cannot or shall not be done; may be repeated")
	flags.BoolVar(&w.byTheBook, "by-the-book", false, "no short cuts")
}

// way is nil when nothing was asked for.
func (w *wayFlags) way() *jobv1.Way {
	if len(w.through)+len(w.without) == 0 && !w.byTheBook {
		return nil
	}
	return &jobv1.Way{Through: w.through, Without: w.without, ByTheBook: w.byTheBook}
}

// wayWords are the flags that ask for a way.
func wayWords(w *jobv1.Way) string {
	var words strings.Builder
	for _, id := range w.GetThrough() {
		words.WriteString(" --through " + id)
	}
	for _, id := range w.GetWithout() {
		words.WriteString(" --without " + id)
	}
	if w.GetByTheBook() {
		words.WriteString(" --by-the-book")
	}
	return words.String()
}

func jobCompare(o *options) *cobra.Command {
	return &cobra.Command{
		Use:     "compare JOB CAUSE…",
		Short:   "Compare the ways to the same work side by side; changes nothing",
		Example: "  ramprow job compare 17 follower-4",
		RunE: o.onJob(func(ctx context.Context, s *session, job string, rest []string) error {
			r, err := s.Job.ComparePlans(ctx, &jobv1.ComparePlansRequest{Job: job, Causes: rest, MinRevision: s.atLeast})
			if err != nil {
				return err
			}
			if s.json {
				return s.showJSON(r)
			}
			if err := writeTable(s.out, r.GetAlternatives(), wayColumns()); err != nil {
				return err
			}
			for i, a := range r.GetAlternatives() {
				for _, risk := range a.GetRisks() {
					if err := s.say("%d risks: %s", i+1, risk); err != nil {
						return err
					}
				}
			}
			if err := s.say(""); err != nil {
				return err
			}
			for i, a := range r.GetAlternatives() {
				if err := s.say("%d: ramprow job confirm %s %s%s", i+1, number(job), strings.Join(rest, " "), wayWords(a.GetWay())); err != nil {
					return err
				}
			}
			return nil
		}),
	}
}

func wayColumns() []column[*jobv1.PlanAlternative] {
	at := 0
	return []column[*jobv1.PlanAlternative]{
		figure("WAY", func(*jobv1.PlanAlternative) string { at++; return fmt.Sprint(at) }),
		figure("AT HALF", func(a *jobv1.PlanAlternative) string { return span(a.GetPlan().GetEffort().GetP50()) }),
		figure("4 OF 5", func(a *jobv1.PlanAlternative) string { return span(a.GetPlan().GetEffort().GetP80()) }),
		figure("MORE", func(a *jobv1.PlanAlternative) string { return span(a.GetMore()) }),
		figure("STEPS", func(a *jobv1.PlanAlternative) string { return fmt.Sprint(len(a.GetPlan().GetSteps())) }),
		figure("PARTS", func(a *jobv1.PlanAlternative) string { return fmt.Sprint(len(a.GetPlan().GetParts())) }),
		figure("PARTS COST", func(a *jobv1.PlanAlternative) string { return money(a.GetPlan().GetPartsEstimate()) }),
		figure("ALL IN", func(a *jobv1.PlanAlternative) string { return money(a.GetPrice()) }),
		figure("SHORT CUTS", func(a *jobv1.PlanAlternative) string { return fmt.Sprint(len(a.GetRisks())) }),
		left("SPECIAL TOOLS", func(a *jobv1.PlanAlternative) string {
			var tools []string
			for _, t := range a.GetPlan().GetTools() {
				tools = append(tools, t.GetTool())
			}
			return orWord(strings.Join(tools, ", "), "-")
		}),
		left("WHAT IT IS", func(a *jobv1.PlanAlternative) string {
			text := a.GetWay().GetName()
			if len(a.GetOtherWork()) > 0 {
				text += ": does " + strings.Join(a.GetOtherWork(), ", ")
			}
			if len(a.GetSparedWork()) > 0 {
				text += "; spares " + strings.Join(a.GetSparedWork(), ", ")
			}
			return text
		}),
	}
}

func jobWay(o *options) *cobra.Command {
	var w wayFlags
	req := &jobv1.TakeWayRequest{}
	var worked string
	command := &cobra.Command{
		Use:   "way JOB REASON",
		Short: "Go another way than planned, or say that it was gone",
		Long: "Revises the plan from the car as it stands; what is done stays done, and parts, bay and audit follow.\n" +
			"With --done, the operations of --through were done already, in that order.",
		Example: "  ramprow job way 17 'no room from above' --without valve-cover-off-long-reach\n" +
			"  ramprow job way 17 'it went quicker' --through followers-out-spring-lever --done --worked 35m",
		RunE: o.changeJob(func(ctx context.Context, s *session, job string, rest []string) (jobAnswer, string, error) {
			if worked != "" {
				var err error
				if req.Worked, err = parseDuration(worked); err != nil {
					return nil, "", err
				}
			}
			req.RequestId, req.Job, req.Reason, req.Way = s.once(), job, rest[0], &jobv1.Way{Through: w.through, Without: w.without, ByTheBook: w.byTheBook}
			r, err := s.Job.TakeWay(ctx, req)
			p := r.GetJob().GetPlan()
			return r, fmt.Sprintf("goes %s. %s left; %s without tax", orWord(p.GetWay().GetName(), "the way of least effort"), effort(p), money(estimate(p))), err
		}),
	}
	w.add(command)
	command.Flags().BoolVar(&req.Done, "done", false, "it was gone already")
	command.Flags().StringVar(&worked, "worked", "", "done: how long it took together, as in 35m")
	command.Flags().StringVar(&req.Tray, "tray", "", "done: tray for what came off")
	return command
}
