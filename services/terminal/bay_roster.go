package terminal

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/spf13/cobra"

	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// weekOff is a week of a roster without any shift.
const weekOff = "off"

func bayRoster(o *options) *cobra.Command {
	parent := group("roster", "Weeks in turn that hold instead of the shifts", "  ramprow bay roster set people/tomas --from 2026-12-07 --week mon-fri=06:00-14:00 --week mon-fri=14:00-22:00")
	parent.AddCommand(rosterSet(o), rosterRemove(o))
	return parent
}

func rosterSet(o *options) *cobra.Command {
	var from, until string
	var weeks []string
	var preview bool
	command := &cobra.Command{
		Use:   "set NAME",
		Short: "Let weeks in turn hold instead of the shifts from a day on",
		Long: "Each --week is one week, Monday to Sunday: its shifts with commas between them, or " + weekOff + ". The first\n" +
			"is the week in which --from lies; after the last comes the first again.",
		Example: "  ramprow bay roster set people/tomas --from 2026-12-07 --week mon-fri=06:00-14:00 --week mon-thu=14:00-22:00,fri=12:00-18:00\n" +
			"  ramprow bay roster set people/rosa --from 2027-01-11 --until 2027-02-07 --week mon-wed=08:00-16:30 --week off --preview",
		RunE: o.run(func(ctx context.Context, s *session, args []string) error {
			roster, err := rosterOf(from, until, weeks, s.now())
			if err != nil {
				return err
			}
			r, err := s.Scheduling.SetRoster(ctx, &schedulingv1.SetRosterRequest{RequestId: s.once(), Resource: args[0], Roster: roster, ValidateOnly: preview})
			if err != nil {
				return err
			}
			line := fmt.Sprintf("%s: %s from %s%s", args[0], plural(len(weeks), "week")+" in turn", roster.GetFrom(), repeated(r.GetReceipt()))
			return s.answer(r, consequence(s, line, r.GetChanges(), preview)...)
		}),
	}
	requireText(command, &from, "from", "its first day, as in 2026-12-07")
	command.Flags().StringVar(&until, "until", "", "its last day; otherwise it has no end")
	command.Flags().StringArrayVar(&weeks, "week", nil, "the shifts of one week, as in mon-fri=06:00-14:00,sat=08:00-12:00; may be repeated")
	_ = command.MarkFlagRequired("week") // fails only for a flag that is not there
	previewFlag(command, &preview)
	return command
}

func rosterOf(from, until string, weeks []string, now time.Time) (*schedulingv1.Roster, error) {
	roster := &schedulingv1.Roster{}
	var err error
	if roster.From, err = dateOf("from", from, now); err != nil {
		return nil, err
	}
	if roster.Until, err = dateOf("until", until, now); err != nil {
		return nil, err
	}
	for _, text := range weeks {
		week := &schedulingv1.RosterWeek{}
		for one := range strings.SplitSeq(text, ",") {
			if one == weekOff {
				continue
			}
			shifts, err := parseShift(one)
			if err != nil {
				return nil, fmt.Errorf("--week: %w", err)
			}
			week.Shifts = append(week.Shifts, shifts...)
		}
		roster.Weeks = append(roster.Weeks, week)
	}
	return roster, nil
}

// dateOf reads a flag that is a day; empty if it was left out.
func dateOf(flag, text string, now time.Time) (string, error) {
	if text == "" {
		return "", nil
	}
	day, err := parseDay(text, now)
	if err != nil {
		return "", fmt.Errorf("--%s: %w", flag, err)
	}
	return day.Format(dayLayout), nil
}

func rosterRemove(o *options) *cobra.Command {
	var preview bool
	command := &cobra.Command{
		Use:     "remove NAME DAY",
		Short:   "Take a roster away by its first day",
		Example: "  ramprow bay roster remove people/tomas 2026-12-07",
		RunE: o.run(func(ctx context.Context, s *session, args []string) error {
			from, err := dateOf("from", args[1], s.now())
			if err != nil {
				return err
			}
			r, err := s.Scheduling.RemoveRoster(ctx, &schedulingv1.RemoveRosterRequest{RequestId: s.once(), Resource: args[0], From: from, ValidateOnly: preview})
			if err != nil {
				return err
			}
			return s.answer(r, consequence(s, fmt.Sprintf("%s: no roster from %s any more%s", args[0], from, repeated(r.GetReceipt())), r.GetChanges(), preview)...)
		}),
	}
	previewFlag(command, &preview)
	return command
}

// rosterWords write a resource's rosters, as in from 2026-12-07: mon-fri 06:00-14:00 / mon-fri 14:00-22:00.
func rosterWords(r *schedulingv1.Resource) []string {
	var words []string
	for _, roster := range r.GetRosters() {
		var weeks []string
		for _, week := range roster.GetWeeks() {
			weeks = append(weeks, orWord(strings.Join(shiftWords(week.GetShifts()), " "), weekOff))
		}
		text := "from " + roster.GetFrom()
		if roster.GetUntil() != "" {
			text += " to " + roster.GetUntil()
		}
		words = append(words, text+": "+strings.Join(weeks, " / "))
	}
	return words
}
