package terminal

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/timestamppb"

	torqueauditv1 "ramprow/proto/ramprow/torque_audit/v1"
)

func tightenStats(o *options) *cobra.Command {
	var since string
	request := &torqueauditv1.GetTighteningStatisticsRequest{}
	command := &cobra.Command{
		Use:   "stats KIND OF",
		Short: "Chart the readings of a tool, a person or a joint: in control, capable, drifting",
		Long: `Chart the readings of a tool, a person or a joint.

Readings of different specifications are compared by where they lie in their own window: -1 is the lower
limit, 0 the middle, 1 the upper limit.`,
		Example: "  ramprow tighten stats tool a1\n  ramprow tighten stats person tomas --group 5\n  ramprow tighten stats joint valve-cover --since 2026-01-01",
		RunE: o.run(func(ctx context.Context, s *session, args []string) error {
			var err error
			if request.By, err = choose[torqueauditv1.StatisticsBy]("KIND", args[0]); err != nil {
				return err
			}
			var from *timestamppb.Timestamp
			if from, err = optionalTime("since", since, s.now()); err != nil {
				return err
			}
			request.Of, request.Since = args[1], from
			if request.GetBy() == torqueauditv1.StatisticsBy_STATISTICS_BY_TOOL {
				request.Of = inCollection("wrenches", args[1])
			}
			r, err := s.Audit.GetTighteningStatistics(ctx, request)
			if err != nil {
				return err
			}
			return s.answer(r, statLines(s, args[1], r.GetStatistics())...)
		}),
		ValidArgs: choices[torqueauditv1.StatisticsBy](),
	}
	command.Flags().Uint32Var(&request.GroupSize, "group", 0, "chart means of so many readings, 2 to 10; otherwise single ones")
	command.Flags().StringVar(&since, "since", "", "only readings from then on")
	return command
}

// statLines says a chart in words.
func statLines(s *session, of string, t *torqueauditv1.TighteningStatistics) []string {
	lines := []string{fmt.Sprintf("%s: %s, %d of them did not count", of, plural(int(t.GetReadings()), "reading"), t.GetNotCounted())}
	if m := t.GetMean(); m != nil {
		lines = append(lines, fmt.Sprintf("Lies at %.3f in its window (-1 to 1), explained between %.3f and %.3f; ranges %.3f, up to %.3f",
			m.GetCentre(), m.GetLow(), m.GetHigh(), t.GetRange().GetCentre(), t.GetRange().GetHigh()))
		if n := len(t.GetSignals()); n > 0 {
			places := make([]string, n)
			for i, at := range t.GetSignals() {
				places[i] = fmt.Sprintf("%d (%.3f)", at+1, t.GetPoints()[at])
			}
			lines = append(lines, "Not explained by chance: points "+strings.Join(places, ", "))
		} else {
			lines = append(lines, "In control: nothing that chance does not explain")
		}
	}
	if c := t.GetSpread(); c != nil {
		names := [2]string{"Cp", "Cpk"}
		if t.GetDrift() != nil {
			names = [2]string{"Cm", "Cmk"}
		}
		lines = append(lines, fmt.Sprintf("%s %.2f (%.2f to %.2f), %s %.2f (%.2f to %.2f), at 95 %%", names[0], c.GetValue(), c.GetLow(), c.GetHigh(),
			names[1], t.GetWorst().GetValue(), t.GetWorst().GetLow(), t.GetWorst().GetHigh()))
	}
	if d := t.GetDrift(); d != nil {
		leaves := "it stays within its deviation for a century"
		if d.GetLeavesAt() != nil {
			leaves = "leaves its deviation " + at(d.GetLeavesAt(), s.now())
		}
		lines = append(lines, fmt.Sprintf("Drifts %.2f %% a year over %s: %s", d.GetPercentPerYear(), plural(int(d.GetChecks()), "check"), leaves))
	}
	return append(lines, t.GetRemarks()...)
}
