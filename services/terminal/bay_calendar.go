package terminal

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/engine/icalendar"
	commonv1 "ramprow/proto/ramprow/common/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

func bayCalendar(o *options) *cobra.Command {
	var day, bay, who string
	var days int
	command := &cobra.Command{
		Use:   "calendar",
		Short: "Write the bookings of a bay or a person as an iCalendar file",
		Long: "Writes iCalendar (RFC 5545) that calendar programs import or subscribe to. A booking keeps its\n" +
			"identity, so a newer file moves it rather than adding another. Begun and pinned ones are\n" +
			"confirmed, the others tentative.",
		Example: "  ramprow bay calendar --bay 2 > bay-2.ics\n  ramprow bay calendar --who anna --days 14 > anna.ics",
		RunE: o.run(func(ctx context.Context, s *session, _ []string) error {
			if bay != "" && who != "" {
				return errors.New("a calendar is of one bay or of one person; give --bay or --who")
			}
			from, err := parseDay(day, s.now())
			if err != nil {
				return fmt.Errorf("--day: %w", err)
			}
			if days < 1 || days > 366 {
				return fmt.Errorf("--days %d cannot be written; use 1 to 366", days)
			}
			r, err := s.Scheduling.GetBoard(ctx, &schedulingv1.GetBoardRequest{
				When:        &commonv1.Interval{Start: timestamppb.New(from), End: timestamppb.New(from.AddDate(0, 0, days))},
				MinRevision: s.atLeast,
			})
			if err != nil {
				return err
			}
			c := calendarOf(r, inCollection("bays", bay), inCollection("people", who))
			c.Stamp = s.now()
			return c.Write(s.out)
		}),
	}
	flags := command.Flags()
	flags.StringVar(&bay, "bay", "", "only this bay's, as in 2 or bays/2")
	flags.StringVar(&who, "who", "", "only this person's, as in anna or people/anna")
	flags.StringVar(&day, "day", "today", "today, tomorrow or 2026-07-01")
	flags.IntVar(&days, "days", 7, "so many days from there")
	return command
}

// calendarOf picks the board's bookings of a bay or a person; empty: all.
func calendarOf(r *schedulingv1.GetBoardResponse, bay, who string) icalendar.Calendar {
	c := icalendar.Calendar{Product: "-//Ramprow//Bays//EN", Name: "Bays"}
	if who != "" {
		c.Name = number(who)
	}
	for _, lane := range r.GetLanes() {
		if bay != "" && lane.GetBay().GetName() != bay {
			continue
		}
		if bay != "" {
			c.Name = lane.GetBay().GetTitle()
		}
		for _, b := range lane.GetBookings() {
			if who == "" || b.GetTechnician() == who {
				c.Events = append(c.Events, eventOf(b, lane.GetBay().GetTitle()))
			}
		}
	}
	return c
}

func eventOf(b *schedulingv1.Booking, place string) icalendar.Event {
	about := []string{"Job " + number(b.GetJob())}
	for _, line := range [][2]string{
		{"With ", number(b.GetTechnician())},
		{"Tools: ", strings.Join(b.GetTools(), ", ")},
		{"Waits for ", b.GetWaitingFor()},
		{"", b.GetReason()},
	} {
		if line[1] != "" {
			about = append(about, line[0]+line[1])
		}
	}
	return icalendar.Event{
		UID: b.GetName() + "@ramprow", Sequence: b.GetPlanRevision(),
		Start: b.GetWhen().GetStart().AsTime(), End: b.GetWhen().GetEnd().AsTime(),
		Summary: b.GetTitle(), Description: strings.Join(about, "\n"), Location: place,
		Tentative: b.GetStartedAt() == nil && !b.GetPinned(),
	}
}
