package terminal

import (
	"context"
	"fmt"

	"github.com/spf13/cobra"

	jobv1 "ramprow/proto/ramprow/job/v1"
)

func jobClearCodes(o *options) *cobra.Command {
	return &cobra.Command{
		Use:     "clear-codes JOB",
		Short:   "Note that the control unit's codes were cleared",
		Example: "  ramprow job clear-codes 17",
		RunE: o.changeJob(func(ctx context.Context, s *session, job string, _ []string) (jobAnswer, string, error) {
			r, err := s.Job.ClearCodes(ctx, &jobv1.ClearCodesRequest{RequestId: s.once(), Job: job})
			return r, "codes cleared; run it and read again", err
		}),
	}
}

func jobRoadTest(o *options) *cobra.Command {
	var km float64
	var note string
	command := &cobra.Command{
		Use:               "road-test JOB passed|failed",
		Short:             "Keep the drive after the repair",
		Example:           "  ramprow job road-test 17 passed --km 14.5",
		ValidArgsFunction: completeAt(1, "passed", "failed"),
		RunE: o.changeJob(func(ctx context.Context, s *session, job string, rest []string) (jobAnswer, string, error) {
			if rest[0] != "passed" && rest[0] != "failed" {
				return nil, "", fmt.Errorf("a road test is passed or failed, not %q", rest[0])
			}
			r, err := s.Job.RecordRoadTest(ctx, &jobv1.RecordRoadTestRequest{
				RequestId: s.once(), Job: job, Passed: rest[0] == "passed", DistanceKm: km, Note: note,
			})
			return r, fmt.Sprintf("road test %s, %g km", rest[0], km), err
		}),
	}
	command.Flags().Float64Var(&km, "km", 0, "kilometres driven")
	command.Flags().StringVar(&note, "note", "", "what was noticed")
	return command
}
