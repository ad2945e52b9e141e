package terminal

import (
	"context"

	"github.com/spf13/cobra"

	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

func bayZone(o *options) *cobra.Command {
	var preview bool
	command := &cobra.Command{
		Use:   "zone [ZONE]",
		Short: "Say on which wall clock shifts are read, or show it",
		Long: "Shifts are times of day. Until a zone is set they are read in UTC. In a zone they follow its wall\n" +
			"clock, also on the days on which the clocks change. Setting it plans anew.",
		Example: "  ramprow bay zone\n  ramprow bay zone Europe/Vienna --preview\n  ramprow bay zone Europe/Vienna",
		Args:    cobra.MaximumNArgs(1),
		RunE: o.run(func(ctx context.Context, s *session, args []string) error {
			if len(args) == 0 {
				r, err := s.Scheduling.GetZone(ctx, &schedulingv1.GetZoneRequest{})
				if err != nil {
					return err
				}
				return s.answer(r, "Shifts are read in "+r.GetZone())
			}
			r, err := s.Scheduling.SetZone(ctx, &schedulingv1.SetZoneRequest{RequestId: s.once(), Zone: args[0], ValidateOnly: preview})
			if err != nil {
				return err
			}
			lines := append([]string{"Shifts are read in " + r.GetZone() + repeated(r.GetReceipt())}, changeLines(s, r.GetChanges())...)
			if preview {
				lines = append(lines[1:], previewed)
			}
			return s.answer(r, lines...)
		}),
	}
	command.Flags().BoolVar(&preview, "preview", false, "show the consequence only")
	return command
}
