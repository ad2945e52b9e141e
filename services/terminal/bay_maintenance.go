package terminal

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/spf13/cobra"

	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

func bayMaintenance(o *options) *cobra.Command {
	parent := group("maintenance", "Maintenance of bays and tools that comes again and again", "  ramprow bay maintenance plan bays/1 --title 'Lift inspection' --first 2026-12-07 --at 07:00 --takes 2h --every 28")
	parent.AddCommand(maintenancePlan(o), maintenanceEnd(o))
	return parent
}

// maintenanceFlags are what the flags of `bay maintenance plan` fill.
type maintenanceFlags struct {
	title, first, until, clock, takes string
	every                             uint32
	preview                           bool
}

func maintenancePlan(o *options) *cobra.Command {
	in := &maintenanceFlags{}
	command := &cobra.Command{
		Use:     "plan NAME",
		Short:   "Take a bay or a tool out again and again, at the same time of day; its bookings are moved",
		Example: "  ramprow bay maintenance plan bays/1 --title 'Lift inspection' --first 2026-12-07 --at 07:00 --takes 2h --every 28 --preview",
		RunE: o.run(func(ctx context.Context, s *session, args []string) error {
			m, err := in.message(s.now())
			if err != nil {
				return err
			}
			r, err := s.Scheduling.PlanMaintenance(ctx, &schedulingv1.PlanMaintenanceRequest{
				RequestId: s.once(), Resource: args[0], Maintenance: m, ValidateOnly: in.preview,
			})
			if err != nil {
				return err
			}
			line := fmt.Sprintf("%s is out every %d days from %s; %s moved%s", args[0], m.GetEveryDays(), m.GetFirst(), plural(len(r.GetChanges()), "booking"), repeated(r.GetReceipt()))
			return s.answer(r, consequence(s, line, r.GetChanges(), in.preview)...)
		}),
	}
	requireText(command, &in.title, "title", "what is done")
	requireText(command, &in.first, "first", "the first day, as in 2026-12-07")
	requireText(command, &in.clock, "at", "when it begins, as in 07:00")
	requireText(command, &in.takes, "takes", "how long, as in 1h30m")
	command.Flags().Uint32Var(&in.every, "every", 0, "again after so many days: 7 is weekly, 14 every other week")
	_ = command.MarkFlagRequired("every") // fails only for a flag that is not there
	command.Flags().StringVar(&in.until, "until", "", "the last day; otherwise it has no end")
	previewFlag(command, &in.preview)
	return command
}

func (in *maintenanceFlags) message(now time.Time) (*schedulingv1.Maintenance, error) {
	m := &schedulingv1.Maintenance{Title: in.title, EveryDays: in.every}
	var err error
	if m.First, err = dateOf("first", in.first, now); err != nil {
		return nil, err
	}
	if m.Until, err = dateOf("until", in.until, now); err != nil {
		return nil, err
	}
	begins, ok := parseMinute(in.clock)
	if !ok {
		return nil, fmt.Errorf("--at %q is no time of day; write it as in 07:00", in.clock)
	}
	takes, err := parseDuration(in.takes)
	if err != nil {
		return nil, fmt.Errorf("--takes: %w", err)
	}
	if takes.AsDuration() > longestMaintenance {
		return nil, errors.New("--takes is longer than a week; take the resource out with ramprow bay block")
	}
	m.FromMinute, m.Minutes = begins, uint32(takes.AsDuration().Minutes())
	return m, nil
}

const longestMaintenance = 7 * 24 * time.Hour

func maintenanceEnd(o *options) *cobra.Command {
	var preview bool
	command := &cobra.Command{
		Use:     "end NAME MAINTENANCE",
		Short:   "Let no more of it come",
		Example: "  ramprow bay maintenance end bays/1 maintenance-2",
		RunE: o.run(func(ctx context.Context, s *session, args []string) error {
			r, err := s.Scheduling.EndMaintenance(ctx, &schedulingv1.EndMaintenanceRequest{
				RequestId: s.once(), Resource: args[0], Maintenance: args[1], ValidateOnly: preview,
			})
			if err != nil {
				return err
			}
			return s.answer(r, consequence(s, args[1]+" of "+args[0]+" has ended"+repeated(r.GetReceipt()), r.GetChanges(), preview)...)
		}),
	}
	previewFlag(command, &preview)
	return command
}

func maintenanceWords(r *schedulingv1.Resource) []string {
	var words []string
	for _, m := range r.GetMaintenance() {
		words = append(words, fmt.Sprintf("%s every %d days from %s %s: %s", m.GetId(), m.GetEveryDays(), m.GetFirst(), minuteWord(m.GetFromMinute()), m.GetTitle()))
	}
	return words
}
