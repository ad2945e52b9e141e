package terminal

import (
	"context"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"

	commonv1 "ramprow/proto/ramprow/common/v1"
	torqueauditv1 "ramprow/proto/ramprow/torque_audit/v1"
)

// sheetAnswer is the answer of any command that changes a sheet.
type sheetAnswer interface {
	proto.Message
	GetSheet() *torqueauditv1.Sheet
	GetReceipt() *commonv1.Receipt
}

// changeSheet is an action that changes a job's sheet.
func (o *options) changeSheet(act func(ctx context.Context, s *session, job string, rest []string) (sheetAnswer, error)) func(*cobra.Command, []string) error {
	return o.onJob(func(ctx context.Context, s *session, job string, rest []string) error {
		r, err := act(ctx, s, job, rest)
		if err != nil {
			return err
		}
		return s.answer(r, sheetLine(r.GetSheet())+repeated(r.GetReceipt()))
	})
}

func tightenCorrect(o *options) *cobra.Command {
	var reason string
	command := &cobra.Command{
		Use:     "correct JOB READING",
		Short:   "Take a mistaken reading out of the count; it stays to be seen",
		Example: "  ramprow tighten correct 17 12 --reason 'read off the wrong bolt'",
		RunE: o.changeSheet(func(ctx context.Context, s *session, job string, rest []string) (sheetAnswer, error) {
			reading, err := parseSmall("READING", rest[0])
			if err != nil {
				return nil, err
			}
			return s.Audit.CorrectReading(ctx, &torqueauditv1.CorrectReadingRequest{RequestId: s.once(), Job: job, Number: reading, Reason: reason})
		}),
	}
	requireText(command, &reason, "reason", "why")
	return command
}

func tightenDepart(o *options) *cobra.Command {
	var reason, first string
	command := &cobra.Command{
		Use:     "depart JOB JOINT",
		Short:   "Accept, as the second person, a joint that cannot be proved as written",
		Example: "  ramprow tighten depart 17 oil-pan --first tomas --reason 'bolt 7 out of reach of the wrench; felt by hand'",
		RunE: o.changeSheet(func(ctx context.Context, s *session, job string, rest []string) (sheetAnswer, error) {
			return s.Audit.SignDeparture(ctx, &torqueauditv1.SignDepartureRequest{
				RequestId: s.once(), Job: job, Joint: rest[0], Reason: reason, FirstPerson: first,
			})
		}),
	}
	requireText(command, &reason, "reason", "why it cannot be proved, and what was done instead")
	requireText(command, &first, "first", "the first person, who is not you")
	return command
}

func tightenSign(o *options) *cobra.Command {
	return &cobra.Command{
		Use:     "sign JOB",
		Short:   "Sign by name that every joint is proved",
		Example: "  ramprow tighten sign 17",
		RunE: o.changeSheet(func(ctx context.Context, s *session, job string, _ []string) (sheetAnswer, error) {
			return s.Audit.SignSheet(ctx, &torqueauditv1.SignSheetRequest{RequestId: s.once(), Job: job})
		}),
	}
}

func tightenReopen(o *options) *cobra.Command {
	var reason string
	command := &cobra.Command{
		Use:     "reopen JOB JOINT…",
		Short:   "Open joints of a sheet again for rework",
		Example: "  ramprow tighten reopen 17 valve-cover --reason 'leaked on the drive'",
		RunE: o.changeSheet(func(ctx context.Context, s *session, job string, rest []string) (sheetAnswer, error) {
			return s.Audit.ReopenSheet(ctx, &torqueauditv1.ReopenSheetRequest{RequestId: s.once(), Job: job, Joints: rest, Reason: reason})
		}),
	}
	requireText(command, &reason, "reason", "why")
	return command
}
