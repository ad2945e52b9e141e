package terminal

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/timestamppb"

	commonv1 "ramprow/proto/ramprow/common/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

func bayCommands() *cobra.Command {
	return tree("bay", "Bays, people and special tools, and who has them when",
		"  ramprow bay board\n  ramprow bay move 17 --bay 2 --start 'tomorrow 08:00' --preview",
		bayBoard, bayBookings, bayBooking, bayMove, baySwap, bayUndo, bayPromise, bayJudge, bayCapacity, bayPin, bayUnpin,
		bayList, baySet, bayBlock, bayUnblock, bayRoster, bayOvertime, bayMaintenance, bayClosed, bayWatch, bayCalendar, bayZone,
	)
}

// boardRow is a booking in its bay, or one that waits.
type boardRow struct {
	bay     string
	booking *schedulingv1.Booking
}

func bayBoard(o *options) *cobra.Command {
	var day string
	var days int
	command := &cobra.Command{
		Use:     "board",
		Short:   "Show the bays over a day or more, and what waits",
		Example: "  ramprow bay board\n  ramprow bay board --day tomorrow\n  ramprow bay board --day 2026-07-01 --days 5",
		RunE: o.run(func(ctx context.Context, s *session, _ []string) error {
			from, err := parseDay(day, s.now())
			if err != nil {
				return fmt.Errorf("--day: %w", err)
			}
			if days < 1 || days > 366 {
				return fmt.Errorf("--days %d cannot be shown; use 1 to 366", days)
			}
			r, err := s.Scheduling.GetBoard(ctx, &schedulingv1.GetBoardRequest{
				When:        &commonv1.Interval{Start: timestamppb.New(from), End: timestamppb.New(from.AddDate(0, 0, days))},
				MinRevision: s.atLeast,
			})
			if err != nil {
				return err
			}
			if s.json {
				return s.showJSON(r)
			}
			return s.showBoard(r)
		}),
	}
	command.Flags().StringVar(&day, "day", "today", "today, tomorrow or 2026-07-01")
	command.Flags().IntVar(&days, "days", 1, "so many days from there")
	return command
}

func (s *session) showBoard(r *schedulingv1.GetBoardResponse) error {
	var rows []boardRow
	for _, lane := range r.GetLanes() {
		title := lane.GetBay().GetTitle()
		if len(lane.GetBookings()) == 0 {
			rows = append(rows, boardRow{bay: title})
		}
		for _, b := range lane.GetBookings() {
			rows = append(rows, boardRow{title, b})
			title = "" // once for the lane is enough
		}
	}
	if len(rows) == 0 && len(r.GetWaiting()) == 0 {
		return s.say("There is no bay yet. Register one: ramprow bay set bays/1 --title 'Bay 1' --type KIND")
	}
	if len(rows) > 0 {
		if err := writeTable(s.out, rows, boardColumns(s)); err != nil {
			return err
		}
	}
	if err := s.showAway(r.GetLanes()); err != nil || len(r.GetWaiting()) == 0 {
		return err
	}
	if err := s.say("\nNot booked yet:"); err != nil {
		return err
	}
	return writeTable(s.out, r.GetWaiting(), []column[*schedulingv1.Booking]{
		figure("JOB", func(b *schedulingv1.Booking) string { return number(b.GetJob()) }),
		left("WHAT", (*schedulingv1.Booking).GetTitle),
		figure("LIKELY", func(b *schedulingv1.Booking) string { return span(b.GetEffort().GetP80()) }),
		left("WAITS FOR", (*schedulingv1.Booking).GetWaitingFor),
	})
}

// showAway tells when bays cannot be used.
func (s *session) showAway(lanes []*schedulingv1.BoardLane) error {
	head := "\nAway:"
	for _, lane := range lanes {
		for _, b := range lane.GetAway() {
			if head != "" {
				if err := s.say("%s", head); err != nil {
					return err
				}
				head = ""
			}
			if err := s.say("  %s %s: %s", lane.GetBay().GetTitle(), during(b.GetWhen(), s.now()), awayWord(b)); err != nil {
				return err
			}
		}
	}
	return nil
}

// awayWord says why something is away, as in repair: new hoses.
func awayWord(b *schedulingv1.Block) string {
	kind := word(b.GetKind())
	if kind == "" || kind == b.GetReason() {
		return b.GetReason()
	}
	return kind + ": " + b.GetReason()
}

func boardColumns(s *session) []column[boardRow] {
	return []column[boardRow]{
		left("BAY", func(r boardRow) string { return r.bay }),
		left("WHEN", func(r boardRow) string {
			if r.booking == nil {
				return "free"
			}
			return during(r.booking.GetWhen(), s.now())
		}),
		figure("JOB", func(r boardRow) string { return number(r.booking.GetJob()) }),
		left("WHAT", func(r boardRow) string { return r.booking.GetTitle() }),
		left("WHO", func(r boardRow) string { return number(r.booking.GetTechnician()) }),
		left("STATE", func(r boardRow) string { return bookingState(r.booking) + overtimeOf(r.booking) }),
		left("PROMISED", func(r boardRow) string { return at(r.booking.GetPromised(), s.now()) }),
	}
}

func bookingState(b *schedulingv1.Booking) string {
	state := word(b.GetState())
	if b.GetPinned() {
		state += ", pinned"
	}
	return state
}

func overtimeOf(b *schedulingv1.Booking) string {
	if b.GetOvertime() == nil {
		return ""
	}
	return ", " + span(b.GetOvertime()) + " in overtime"
}

func bayWatch(o *options) *cobra.Command {
	return &cobra.Command{
		Use:     "watch",
		Short:   "Follow every booking that is not finished, until Ctrl-C",
		Example: "  ramprow bay watch",
		RunE: o.follow(func(ctx context.Context, s *session, _ []string) error {
			stream, err := s.Scheduling.WatchBoard(ctx, &schedulingv1.WatchBoardRequest{})
			if err != nil {
				return err
			}
			return watch(ctx, s, stream.Recv, func(r *schedulingv1.WatchBoardResponse) string {
				switch {
				case r.GetBooking() != nil:
					return bookingLine(s, r.GetBooking())
				case r.GetResource() != nil:
					return fmt.Sprintf("%s  %s", r.GetResource().GetName(), r.GetResource().GetTitle())
				}
				return ""
			})
		}),
	}
}
