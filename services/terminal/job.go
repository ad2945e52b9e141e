package terminal

import (
	"context"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"

	commonv1 "ramprow/proto/ramprow/common/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

func jobCommands() *cobra.Command {
	return tree("job", "A car's visit, from its complaint to the paid invoice",
		"  ramprow job list\n  ramprow job show 17\n  ramprow job diagnose 17",
		jobOpen, jobAppoint, jobReceive, jobList, jobShow, jobCardPage, jobWatch, jobStory, jobSteps,
		jobCodes, jobSymptom, jobTest, jobWithdraw, jobDiagnose, jobPlan, jobCompare, jobConfirm, jobWay, jobAuthorise,
		jobStart, jobPause, jobResume, jobDone, jobFound, jobDesign, jobExplain, jobDebris,
		jobClearCodes, jobRoadTest, jobBill, jobBilling, jobQuote, jobAdvance, jobClose, jobPay, jobCredit, jobCorrect, jobLookback, jobCancel,
		jobFigures, jobRates, jobTimes, jobCases, jobStrike, jobRestore,
	)
}

// onJob is an action whose first word is a job.
func (o *options) onJob(act func(ctx context.Context, s *session, job string, rest []string) error) func(*cobra.Command, []string) error {
	return o.run(func(ctx context.Context, s *session, args []string) error {
		job, err := jobName(args[0])
		if err != nil {
			return err
		}
		return act(ctx, s, job, args[1:])
	})
}

// jobAnswer is the answer of any command that changes a job.
type jobAnswer interface {
	proto.Message
	GetJob() *jobv1.Job
	GetReceipt() *commonv1.Receipt
}

// changeJob is an action that changes a job. It says in a few words what it did;
// what is next is told for all of them alike.
func (o *options) changeJob(act func(ctx context.Context, s *session, job string, rest []string) (jobAnswer, string, error)) func(*cobra.Command, []string) error {
	return o.onJob(func(ctx context.Context, s *session, job string, rest []string) error {
		answer, done, err := act(ctx, s, job, rest)
		if err != nil {
			return err
		}
		return s.answer(answer, job+": "+done+repeated(answer.GetReceipt()), nextLine(nextFor(answer.GetJob())))
	})
}

// repeated says that a command had been done before.
func repeated(r *commonv1.Receipt) string {
	if r.GetRepeatedAnswer() {
		return " (done before; this is the first answer)"
	}
	return ""
}

func nextLine(next string) string {
	if next == "" {
		return ""
	}
	return "Next: " + next
}
