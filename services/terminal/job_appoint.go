package terminal

import (
	"context"

	"github.com/spf13/cobra"

	jobv1 "ramprow/proto/ramprow/job/v1"
)

func jobAppoint(o *options) *cobra.Command {
	var expected, wanted, reason string
	var unwanted bool
	var priority uint32
	command := &cobra.Command{
		Use:   "appoint JOB",
		Short: "Say that the car comes at another time, is wanted by another, or is more urgent; bays are planned anew",
		Example: `  ramprow job appoint 17 --expected 'tomorrow 10:00' --reason 'the customer is late'
  ramprow job appoint 17 --priority 5 --wanted-by 'Fri 16:00' --reason 'he drives on holiday on Saturday'`,
	}
	command.RunE = o.changeJob(func(ctx context.Context, s *session, job string, _ []string) (jobAnswer, string, error) {
		request := &jobv1.ChangeAppointmentRequest{RequestId: s.once(), Job: job, ClearWantedBy: unwanted, Reason: reason}
		var err error
		if request.ExpectedAt, err = optionalTime("expected", expected, s.now()); err != nil {
			return nil, "", err
		}
		if request.WantedBy, err = optionalTime("wanted-by", wanted, s.now()); err != nil {
			return nil, "", err
		}
		if command.Flags().Changed("priority") {
			request.Priority = &priority
		}
		r, err := s.Job.ChangeAppointment(ctx, request)
		return r, "the appointment is changed", err
	})
	flags := command.Flags()
	flags.StringVar(&expected, "expected", "", "when the car comes")
	flags.StringVar(&wanted, "wanted-by", "", "when the customer wants it back")
	flags.BoolVar(&unwanted, "no-wanted-by", false, "the customer names no time any more")
	flags.Uint32Var(&priority, "priority", 0, "0 is usual, up to 9")
	requireText(command, &reason, "reason", "why; it is told beside whatever moves")
	return command
}
