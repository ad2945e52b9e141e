package terminal

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// previewed ends what a preview says.
const previewed = "Nothing is changed yet: the same without --preview does it."

func baySwap(o *options) *cobra.Command {
	var preview bool
	command := &cobra.Command{
		Use:   "swap JOB OTHER",
		Short: "Let two bookings change places and have the rest arranged around them",
		Long: "In two bays each starts when and where the other did. In one bay the later goes first, and the\n" +
			"other follows as soon as it can. Pins go with the jobs.",
		Example: "  ramprow bay swap 17 18 --preview\n  ramprow bay swap 17 18",
		RunE: o.onJob(func(ctx context.Context, s *session, job string, args []string) error {
			other, err := jobName(args[0])
			if err != nil {
				return err
			}
			r, err := s.Scheduling.SwapBookings(ctx, &schedulingv1.SwapBookingsRequest{
				RequestId: s.once(), Job: job, Other: other, ValidateOnly: preview,
			})
			if err != nil {
				return err
			}
			lines := []string{bookingLine(s, r.GetBooking()) + repeated(r.GetReceipt()), bookingLine(s, r.GetOther())}
			lines = append(lines, changeLines(s, r.GetChanges())...)
			if preview {
				lines = append(lines, previewed)
			}
			return s.answer(r, lines...)
		}),
	}
	command.Flags().BoolVar(&preview, "preview", false, "show the consequence only")
	return command
}

func bayUndo(o *options) *cobra.Command {
	var move string
	var preview bool
	command := &cobra.Command{
		Use:   "undo",
		Short: "Take back the last move or swap made by hand, within a day",
		Long: "The job goes back exactly where it lay; what made room for it goes back as far as it still fits.\n" +
			"Once more takes back the one before. With --move nothing is undone if somebody has moved something since.",
		Example: "  ramprow bay undo --preview\n  ramprow bay undo\n  ramprow bay undo --move move-12",
		RunE: o.run(func(ctx context.Context, s *session, _ []string) error {
			r, err := s.Scheduling.UndoMove(ctx, &schedulingv1.UndoMoveRequest{RequestId: s.once(), Move: move, ValidateOnly: preview})
			if err != nil {
				return err
			}
			lines := append([]string{"Taken back: " + r.GetUndone() + repeated(r.GetReceipt())}, changeLines(s, r.GetChanges())...)
			if preview {
				lines = append(lines, previewed)
			}
			return s.answer(r, lines...)
		}),
	}
	command.Flags().StringVar(&move, "move", "", "only if this was the last, as in move-12")
	command.Flags().BoolVar(&preview, "preview", false, "show the consequence only")
	return command
}

// promiseFlags are what `bay promise` asks with.
type promiseFlags struct {
	arrives, half, likely, parts string
	bayKinds, skills, tools      []string
	priority                     uint32
}

func bayPromise(o *options) *cobra.Command {
	in := &promiseFlags{}
	command := &cobra.Command{
		Use:   "promise",
		Short: "Say when work that is not opened yet could be done; nothing is booked",
		Long: "The site is planned with the work in it, as if its diagnosis were confirmed now. --likely is the\n" +
			"hands-on time that four of five such jobs do not exceed, --half what half of them do not.",
		Example: "  ramprow bay promise --likely 3h --skill petrol --arrives 'tomorrow 08:00'\n" +
			"  ramprow bay promise --half 2h --likely 3h --bay-kind two-post --parts '2026-07-01 10:00'",
		RunE: o.run(func(ctx context.Context, s *session, _ []string) error {
			req, err := in.request(s)
			if err != nil {
				return err
			}
			r, err := s.Scheduling.GetEarliestPromise(ctx, req)
			if err != nil {
				return err
			}
			if s.json {
				return s.showJSON(r)
			}
			return s.showPromise(r)
		}),
	}
	flags := command.Flags()
	flags.StringVar(&in.arrives, "arrives", "", "when the car comes; otherwise now")
	flags.StringVar(&in.half, "half", "", "what half of such jobs do not exceed; otherwise as --likely")
	requireText(command, &in.likely, "likely", "hands-on time that four of five such jobs do not exceed, as in 2h30m")
	flags.StringSliceVar(&in.bayKinds, "bay-kind", nil, "kind of bay it can be done in; may be repeated")
	flags.StringSliceVar(&in.skills, "skill", nil, "what the technician must know; may be repeated")
	flags.StringSliceVar(&in.tools, "tool", nil, "special tool it needs; may be repeated")
	flags.StringVar(&in.parts, "parts", "", "when its parts come; otherwise they are there")
	flags.Uint32Var(&in.priority, "priority", 0, "0 is ordinary, 9 the highest")
	return command
}

func (in *promiseFlags) request(s *session) (*schedulingv1.GetEarliestPromiseRequest, error) {
	req := &schedulingv1.GetEarliestPromiseRequest{BayKinds: in.bayKinds, Skills: in.skills, Tools: in.tools, Priority: in.priority}
	var err error
	if req.Arrives, err = optionalTime("arrives", in.arrives, s.now()); err != nil {
		return nil, err
	}
	if req.PartsEta, err = optionalTime("parts", in.parts, s.now()); err != nil {
		return nil, err
	}
	if req.P80, err = parseDuration(in.likely); err != nil {
		return nil, fmt.Errorf("--likely: %w", err)
	}
	if req.P50 = req.GetP80(); in.half == "" {
		return req, nil
	}
	if req.P50, err = parseDuration(in.half); err != nil {
		return nil, fmt.Errorf("--half: %w", err)
	}
	return req, nil
}

func (s *session) showPromise(r *schedulingv1.GetEarliestPromiseResponse) error {
	now := s.now()
	c := &card{}
	c.add("Promise", at(r.GetPromised(), now)+", four times of five")
	c.add("Why then", r.GetPromiseReason())
	c.add("When", during(r.GetWhen(), now))
	c.add("Bay", r.GetBay())
	c.add("Who", r.GetTechnician())
	c.add("Why not sooner", r.GetReason())
	if err := c.write(s.out); err != nil {
		return err
	}
	for _, line := range changeLines(s, r.GetChanges()) {
		if err := s.say("%s", line); err != nil {
			return err
		}
	}
	return s.say("Nothing is booked.")
}
