package terminal

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

func bayCapacity(o *options) *cobra.Command {
	var from string
	var weeks uint32
	var days bool
	command := &cobra.Command{
		Use:   "capacity",
		Short: "Show what the coming weeks can take: hours open, booked and expected",
		Long: "Counts hours of bays by kind, of people by skill, and of tools that are asked for. Expected is work of\n" +
			"jobs that are known but have no booking; what finds no hours is left over and waits for the next week.\n" +
			"These are sums and no plan: a job needs its bay, its person and its tools at once.",
		Example: "  ramprow bay capacity\n  ramprow bay capacity --weeks 8\n  ramprow bay capacity --from tomorrow --weeks 1 --days",
		RunE: o.run(func(ctx context.Context, s *session, _ []string) error {
			first, err := dateOf("from", from, s.now())
			if err != nil {
				return err
			}
			r, err := s.Scheduling.GetCapacity(ctx, &schedulingv1.GetCapacityRequest{From: first, Weeks: weeks, ByDay: days})
			if err != nil {
				return err
			}
			if s.json {
				return s.showJSON(r)
			}
			return s.showCapacity(r)
		}),
	}
	command.Flags().StringVar(&from, "from", "", "the first day, as in 2026-12-07; otherwise today")
	command.Flags().Uint32Var(&weeks, "weeks", 0, "so many weeks, Monday to Sunday; otherwise four")
	command.Flags().BoolVar(&days, "days", false, "each day by itself")
	return command
}

// capacityRow is one span of a line; the line stands beside its first.
type capacityRow struct {
	line *schedulingv1.CapacityLine
	span *schedulingv1.CapacitySpan
}

func (s *session) showCapacity(r *schedulingv1.GetCapacityResponse) error {
	var rows []capacityRow
	for _, line := range r.GetLines() {
		for i, span := range line.GetSpans() {
			row := capacityRow{span: span}
			if i == 0 {
				row.line = line
			}
			rows = append(rows, row)
		}
	}
	err := writeTable(s.out, rows, []column[capacityRow]{
		left("WHAT", func(r capacityRow) string { return lineWords(r.line) }),
		left("FROM", func(r capacityRow) string { return r.span.GetFirst() }),
		left("TO", func(r capacityRow) string { return r.span.GetLast() }),
		figure("OPEN", func(r capacityRow) string { return span(r.span.GetOpen()) }),
		figure("BOOKED", func(r capacityRow) string { return span(r.span.GetBooked()) }),
		figure("EXPECTED", func(r capacityRow) string { return span(r.span.GetExpected()) }),
		figure("SHARE", func(r capacityRow) string { return fmt.Sprintf("%.0f %%", 100*r.span.GetShare()) }),
		figure("LEFT OVER", func(r capacityRow) string { return span(r.span.GetLeftOver()) }),
		left("RUNS OVER", func(r capacityRow) string { return r.line.GetRunsOver() }),
	})
	if err != nil {
		return err
	}
	for _, line := range r.GetLines() {
		if line.GetUndated() != nil {
			if err := s.say("%s: %s more of which nobody knows when it can begin; its parts are missing.", lineWords(line), span(line.GetUndated())); err != nil {
				return err
			}
		}
	}
	for _, l := range r.GetLicences() {
		if err := s.say("%s of %s ends %s and takes %s; %s keep it.", l.GetSkill(), number(l.GetPerson()), at(l.GetExpires(), s.now()), span(l.GetTakes()), plural(l.GetOthers(), "other")); err != nil {
			return err
		}
	}
	return nil
}

// lineWords says what a line counts, as in 3 bays: lift or pit.
func lineWords(line *schedulingv1.CapacityLine) string {
	if line == nil {
		return ""
	}
	noun, join := word(line.GetKind()), " or "
	what := plural(line.GetResources(), noun)
	if line.GetKind() == schedulingv1.ResourceKind_RESOURCE_KIND_PERSON {
		join = " and "
		if line.GetResources() != 1 {
			what = fmt.Sprintf("%d people", line.GetResources())
		}
	}
	if len(line.GetTypes()) == 0 {
		return what
	}
	return what + ": " + strings.Join(line.GetTypes(), join)
}
