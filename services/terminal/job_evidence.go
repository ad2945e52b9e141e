package terminal

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	jobv1 "ramprow/proto/ramprow/job/v1"
)

func jobCodes(o *options) *cobra.Command {
	var moment string
	command := &cobra.Command{
		Use:   "codes JOB [CODE…]",
		Short: "Keep the codes that the control unit holds; none says that it holds none",
		Long: "Keep the codes that the control unit holds; none says that it holds none.\n\n" +
			"Write a code as CODE, CODE:STATUS or CODE:STATUS:FTB: the status byte and the failure type byte of\n" +
			"ISO 14229, in hexadecimal.",
		Example: "  ramprow job codes 17 P0304:2F P0300 --moment intake\n  ramprow job codes 17 --moment after-road-test",
		RunE: o.changeJob(func(ctx context.Context, s *session, job string, rest []string) (jobAnswer, string, error) {
			when, err := choose[jobv1.ReadingMoment]("--moment", moment)
			if err != nil {
				return nil, "", err
			}
			var codes []*jobv1.CodeReading
			for _, text := range rest {
				code, err := parseCode(text)
				if err != nil {
					return nil, "", err
				}
				codes = append(codes, code)
			}
			r, err := s.Job.RecordCodes(ctx, &jobv1.RecordCodesRequest{RequestId: s.once(), Job: job, Moment: when, Codes: codes})
			return r, fmt.Sprintf("%s kept, read %s", plural(len(codes), "code"), word(when)), err
		}),
	}
	requireText(command, &moment, "moment", "when they were read: "+strings.Join(choices[jobv1.ReadingMoment](), ", "))
	completeFlag(command, "moment", choices[jobv1.ReadingMoment]()...)
	return command
}

func jobSymptom(o *options) *cobra.Command {
	var absent bool
	command := &cobra.Command{
		Use:     "symptom JOB SYMPTOM",
		Short:   "Keep that a symptom is there, or is not",
		Example: "  ramprow job symptom 17 shakes-at-idle\n  ramprow job symptom 17 ticking --absent",
		RunE: o.changeJob(func(ctx context.Context, s *session, job string, rest []string) (jobAnswer, string, error) {
			r, err := s.Job.NoteSymptom(ctx, &jobv1.NoteSymptomRequest{RequestId: s.once(), Job: job, Symptom: rest[0], Present: !absent})
			if absent {
				return r, "no such symptom: " + rest[0], err
			}
			return r, "symptom: " + rest[0], err
		}),
	}
	command.Flags().BoolVar(&absent, "absent", false, "looked for, and not there")
	return command
}

func jobTest(o *options) *cobra.Command {
	var note string
	command := &cobra.Command{
		Use:               "test JOB TEST OUTCOME",
		Short:             "Keep the outcome of a test: positive or negative",
		Example:           "  ramprow job test 17 swap-coil negative\n  ramprow job test 17 listen-valve-cover positive --note 'clear at 900 rpm'",
		ValidArgsFunction: completeAt(2, choices[jobv1.TestOutcome]()...),
		RunE: o.changeJob(func(ctx context.Context, s *session, job string, rest []string) (jobAnswer, string, error) {
			outcome, err := choose[jobv1.TestOutcome]("OUTCOME", rest[1])
			if err != nil {
				return nil, "", err
			}
			r, err := s.Job.RecordTest(ctx, &jobv1.RecordTestRequest{RequestId: s.once(), Job: job, Test: rest[0], Outcome: outcome, Note: note})
			return r, rest[0] + " is " + rest[1], err
		}),
	}
	command.Flags().StringVar(&note, "note", "", "what was seen or measured")
	return command
}

func jobWithdraw(o *options) *cobra.Command {
	var symptom, test, reason string
	command := &cobra.Command{
		Use:     "withdraw JOB",
		Short:   "Take back a symptom or a test result that was wrong",
		Example: "  ramprow job withdraw 17 --test swap-coil --reason 'swapped the wrong one'",
		RunE: o.changeJob(func(ctx context.Context, s *session, job string, _ []string) (jobAnswer, string, error) {
			r, err := s.Job.WithdrawEvidence(ctx, &jobv1.WithdrawEvidenceRequest{
				RequestId: s.once(), Job: job, Symptom: symptom, Test: test, Reason: reason,
			})
			return r, symptom + test + " is withdrawn", err
		}),
	}
	command.Flags().StringVar(&symptom, "symptom", "", "the symptom")
	command.Flags().StringVar(&test, "test", "", "the test")
	requireText(command, &reason, "reason", "why")
	command.MarkFlagsOneRequired("symptom", "test")
	command.MarkFlagsMutuallyExclusive("symptom", "test")
	return command
}
