package terminal

import (
	"context"
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/fault"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// watch shows what a stream gives until the person has seen enough. In JSON
// every message is a line; for people a message may be worth no line, and a
// line that says what the last one said is left out.
func watch[M proto.Message](ctx context.Context, s *session, receive func() (M, error), line func(M) string) error {
	last := ""
	for {
		m, err := receive()
		switch {
		case errors.Is(err, io.EOF), ctx.Err() != nil, fault.KindOf(err) == fault.Canceled && err != nil:
			return nil //nolint:nilerr // the person has seen enough
		case err != nil:
			return err
		}
		if s.json {
			err = s.showJSON(m)
		} else if text := line(m); text != "" && text != last {
			last = text
			err = s.say("%s  %s", s.now().Format("15:04:05"), oneLine(text))
		}
		if err != nil {
			return err
		}
	}
}

func jobWatch(o *options) *cobra.Command {
	return &cobra.Command{
		Use:     "watch [JOB]",
		Short:   "Follow one job, or all that are not finished, until Ctrl-C",
		Example: "  ramprow job watch\n  ramprow job watch 17 --output json",
		RunE: o.follow(func(ctx context.Context, s *session, args []string) error {
			if len(args) == 0 {
				return s.watchJobs(ctx)
			}
			job, err := jobName(args[0])
			if err != nil {
				return err
			}
			stream, err := s.Job.WatchJob(ctx, &jobv1.WatchJobRequest{Job: job})
			if err != nil {
				return err
			}
			return watch(ctx, s, stream.Recv, func(r *jobv1.WatchJobResponse) string {
				return jobLine(r.GetJob()) + "  next: " + orWord(nextFor(r.GetJob()), "nothing")
			})
		}),
	}
}

func (s *session) watchJobs(ctx context.Context) error {
	stream, err := s.Job.WatchJobs(ctx, &jobv1.WatchJobsRequest{})
	if err != nil {
		return err
	}
	return watch(ctx, s, stream.Recv, func(r *jobv1.WatchJobsResponse) string {
		j := r.GetJob()
		if j == nil {
			return ""
		}
		return fmt.Sprintf("%s  %s  %s  %s", j.GetName(), word(j.GetState()), j.GetPlate(), orWord(j.GetWaitingFor(), j.GetNextStep()))
	})
}

// jobLine is a job in one line.
func jobLine(j *jobv1.Job) string {
	open := 0
	for _, row := range stepRows(j) {
		if row.open() {
			open++
		}
	}
	line := j.GetName() + "  " + word(j.GetState())
	if n := len(j.GetPlan().GetSteps()); n > 0 {
		line += fmt.Sprintf("  %d of %d steps", n-open, n)
	}
	if a := j.GetAudit(); a.GetJoints() > 0 {
		line += fmt.Sprintf("  %d of %d joints", a.GetJointsProved(), a.GetJoints())
	}
	return line
}
