package terminal

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	commonv1 "ramprow/proto/ramprow/common/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

func bayBookings(o *options) *cobra.Command {
	var finished bool
	var limit int
	command := &cobra.Command{
		Use:     "bookings",
		Short:   "List bookings by their start",
		Example: "  ramprow bay bookings",
		RunE: o.run(func(ctx context.Context, s *session, _ []string) error {
			rows, err := collect(s, limit, func(size int32, token string) ([]*schedulingv1.Booking, string, error) {
				r, err := s.Scheduling.ListBookings(ctx, &schedulingv1.ListBookingsRequest{
					PageSize: size, PageToken: token, WithFinished: finished, MinRevision: s.atLeast,
				})
				return r.GetBookings(), r.GetNextPageToken(), err
			})
			if err != nil {
				return err
			}
			return showList(s, rows, "Nothing is booked. A confirmed diagnosis books by itself.", []column[*schedulingv1.Booking]{
				figure("JOB", func(b *schedulingv1.Booking) string { return number(b.GetJob()) }),
				left("STATE", bookingState),
				left("BAY", func(b *schedulingv1.Booking) string { return number(b.GetBay()) }),
				left("WHO", func(b *schedulingv1.Booking) string { return number(b.GetTechnician()) }),
				left("WHEN", func(b *schedulingv1.Booking) string { return during(b.GetWhen(), s.now()) }),
				left("PROMISED", func(b *schedulingv1.Booking) string { return at(b.GetPromised(), s.now()) }),
				left("WHY", func(b *schedulingv1.Booking) string { return orWord(b.GetWaitingFor(), b.GetReason()) }),
			})
		}),
	}
	command.Flags().BoolVar(&finished, "with-finished", false, "finished and cancelled ones too")
	limitFlag(command, &limit)
	return command
}

func bayBooking(o *options) *cobra.Command {
	return &cobra.Command{
		Use:     "booking JOB",
		Short:   "Show a job's booking, or what it waits for",
		Example: "  ramprow bay booking 17",
		RunE: o.onJob(func(ctx context.Context, s *session, job string, _ []string) error {
			r, err := s.Scheduling.GetBooking(ctx, &schedulingv1.GetBookingRequest{Job: job, MinRevision: s.atLeast})
			if err != nil {
				return err
			}
			if s.json {
				return s.showJSON(r.GetBooking())
			}
			return bookingCard(s, r.GetBooking()).write(s.out)
		}),
	}
}

func bookingCard(s *session, b *schedulingv1.Booking) *card {
	now := s.now()
	c := &card{}
	c.add("Job", number(b.GetJob())+", "+b.GetTitle())
	c.add("State", bookingState(b))
	c.add("Waits for", b.GetWaitingFor())
	c.add("Bay", b.GetBay())
	c.add("Who", b.GetTechnician())
	c.add("Tools", strings.Join(b.GetTools(), ", "))
	c.add("When", during(b.GetWhen(), now))
	c.add("Promised", at(b.GetPromised(), now))
	c.add("Why then", b.GetPromiseReason())
	for _, share := range b.GetShares() {
		c.add("Time", fmt.Sprintf("%s: %s at half, %s four times of five", share.GetPhase(), span(share.GetP50()), span(share.GetP80())))
	}
	c.add("Parts", at(b.GetPartsEta(), now))
	c.add("Why there", b.GetReason())
	c.add("Pinned", b.GetPinReason())
	return c
}

// bookingLine is a booking in one line.
func bookingLine(s *session, b *schedulingv1.Booking) string {
	if b.GetWhen() == nil {
		return fmt.Sprintf("%s: %s: %s", b.GetJob(), word(b.GetState()), orWord(b.GetWaitingFor(), b.GetReason()))
	}
	return fmt.Sprintf("%s: %s with %s, %s, promised %s", b.GetJob(), b.GetBay(), b.GetTechnician(), during(b.GetWhen(), s.now()), at(b.GetPromised(), s.now()))
}

// changeLines tell every other booking that moved.
func changeLines(s *session, changes []*schedulingv1.Change) []string {
	var lines []string
	for _, c := range changes {
		lines = append(lines, fmt.Sprintf("  %s: %s %s -> %s %s  (%s)", c.GetBooking(),
			c.GetFromBay(), during(c.GetFrom(), s.now()), c.GetToBay(), during(c.GetTo(), s.now()), c.GetReason()))
	}
	return lines
}

func bayMove(o *options) *cobra.Command {
	var bay, start, who string
	var pin, preview bool
	command := &cobra.Command{
		Use:     "move JOB",
		Short:   "Put a job elsewhere and have the rest arranged around it",
		Example: "  ramprow bay move 17 --bay 2 --start 'tomorrow 08:00' --preview\n  ramprow bay move 17 --who tomas --pin",
		RunE: o.onJob(func(ctx context.Context, s *session, job string, _ []string) error {
			begin, err := optionalTime("start", start, s.now())
			if err != nil {
				return err
			}
			r, err := s.Scheduling.MoveBooking(ctx, &schedulingv1.MoveBookingRequest{
				RequestId: s.once(), Job: job, Bay: inCollection("bays", bay), Start: begin,
				Technician: inCollection("people", who), Pin: pin, ValidateOnly: preview,
			})
			if err != nil {
				return err
			}
			lines := bookingLines(s, r)
			if preview {
				lines = append(lines, previewed)
			}
			return s.answer(r, lines...)
		}),
	}
	command.Flags().StringVar(&bay, "bay", "", "to this bay; otherwise any")
	command.Flags().StringVar(&start, "start", "", "at this time; otherwise as soon as it can be")
	command.Flags().StringVar(&who, "who", "", "with this person; otherwise whoever can")
	command.Flags().BoolVar(&pin, "pin", false, "and keep it there")
	command.Flags().BoolVar(&preview, "preview", false, "show the consequence only")
	return command
}

// bookingAnswer is the answer of a command about one booking.
type bookingAnswer interface {
	GetBooking() *schedulingv1.Booking
	GetChanges() []*schedulingv1.Change
	GetReceipt() *commonv1.Receipt
}

func bookingLines(s *session, r bookingAnswer) []string {
	return append([]string{bookingLine(s, r.GetBooking()) + repeated(r.GetReceipt())}, changeLines(s, r.GetChanges())...)
}

func bayPin(o *options) *cobra.Command {
	var reason string
	command := &cobra.Command{
		Use:     "pin JOB",
		Short:   "Keep a booking where it is",
		Example: "  ramprow bay pin 17 --reason 'promised to the customer'",
		RunE: o.onJob(func(ctx context.Context, s *session, job string, _ []string) error {
			r, err := s.Scheduling.PinBooking(ctx, &schedulingv1.PinBookingRequest{RequestId: s.once(), Job: job, Reason: reason})
			if err != nil {
				return err
			}
			return s.answer(r, bookingLines(s, r)...)
		}),
	}
	command.Flags().StringVar(&reason, "reason", "", "why")
	return command
}

func bayUnpin(o *options) *cobra.Command {
	return &cobra.Command{
		Use:     "unpin JOB",
		Short:   "Let a booking be moved again",
		Example: "  ramprow bay unpin 17",
		RunE: o.onJob(func(ctx context.Context, s *session, job string, _ []string) error {
			r, err := s.Scheduling.UnpinBooking(ctx, &schedulingv1.UnpinBookingRequest{RequestId: s.once(), Job: job})
			if err != nil {
				return err
			}
			return s.answer(r, bookingLines(s, r)...)
		}),
	}
}
