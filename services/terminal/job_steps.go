package terminal

import (
	"context"
	"strings"

	"github.com/spf13/cobra"
	"google.golang.org/protobuf/types/known/durationpb"

	jobv1 "ramprow/proto/ramprow/job/v1"
)

// How a step stands, as people read it.
const (
	stepReady   = "ready" // nothing before it is open
	stepWaits   = "waits"
	stepStarted = "started"
)

// stepRow is a step of the plan with how it stands.
type stepRow struct {
	step  *jobv1.PlannedStep
	state string
	done  *jobv1.StepProgress
}

func (r stepRow) open() bool { return r.done.GetState() != jobv1.StepState_STEP_STATE_DONE }

// stepRows joins the plan with its progress.
func stepRows(j *jobv1.Job) []stepRow {
	progress := map[string]*jobv1.StepProgress{}
	for _, p := range j.GetProgress() {
		progress[p.GetStep()] = p
	}
	planned := map[string]bool{}
	for _, s := range j.GetPlan().GetSteps() {
		planned[s.GetId()] = true
	}
	blocked := func(s *jobv1.PlannedStep) bool {
		for _, before := range s.GetAfter() {
			if planned[before] && progress[before].GetState() != jobv1.StepState_STEP_STATE_DONE {
				return true
			}
		}
		return false
	}
	var rows []stepRow
	for _, s := range j.GetPlan().GetSteps() {
		row := stepRow{step: s, done: progress[s.GetId()]}
		switch state := row.done.GetState(); {
		case state != jobv1.StepState_STEP_STATE_UNSPECIFIED && state != jobv1.StepState_STEP_STATE_PLANNED:
			row.state = word(state)
		case blocked(s):
			row.state = stepWaits
		default:
			row.state = stepReady
		}
		rows = append(rows, row)
	}
	return rows
}

func stepColumns() []column[stepRow] {
	return []column[stepRow]{
		left("STEP", func(r stepRow) string { return r.step.GetId() }),
		left("STATE", func(r stepRow) string { return r.state }),
		figure("LIKELY", func(r stepRow) string { return span(r.step.GetEffort().GetLikely()) }),
		figure("WORKED", func(r stepRow) string {
			if r.done.GetWorked().AsDuration() == 0 {
				return ""
			}
			return span(r.done.GetWorked())
		}),
		left("WHAT", func(r stepRow) string { return r.step.GetTitle() + stepMarks(r.step) }),
	}
}

// stepMarks are what a technician must not overlook.
func stepMarks(s *jobv1.PlannedStep) string {
	var marks []string
	for _, c := range s.GetCautions() {
		marks = append(marks, "! "+c.GetTitle())
	}
	if len(s.GetTools()) > 0 {
		marks = append(marks, "tools: "+strings.Join(s.GetTools(), ", "))
	}
	if len(s.GetPartLines()) > 0 {
		marks = append(marks, plural(len(s.GetPartLines()), "part line"))
	}
	if len(s.GetJoints()) > 0 {
		marks = append(marks, "tighten: "+strings.Join(s.GetJoints(), ", "))
	}
	if len(marks) == 0 {
		return ""
	}
	return "  [" + strings.Join(marks, "; ") + "]"
}

func jobSteps(o *options) *cobra.Command {
	var onlyOpen bool
	command := &cobra.Command{
		Use:     "steps JOB",
		Short:   "Show the plan's steps and how each stands",
		Example: "  ramprow job steps 17\n  ramprow job steps 17 --open",
		RunE: o.onJob(func(ctx context.Context, s *session, job string, _ []string) error {
			r, err := s.Job.GetJob(ctx, &jobv1.GetJobRequest{Job: job, MinRevision: s.atLeast})
			if err != nil {
				return err
			}
			if s.json {
				return showList(s, r.GetJob().GetPlan().GetSteps(), "", nil)
			}
			var rows []stepRow
			for _, row := range stepRows(r.GetJob()) {
				if row.open() || !onlyOpen {
					rows = append(rows, row)
				}
			}
			if len(rows) == 0 {
				return s.say("No steps here. Confirm what is broken: ramprow job confirm %s CAUSE…", number(job))
			}
			return writeTable(s.out, rows, stepColumns())
		}),
	}
	command.Flags().BoolVar(&onlyOpen, "open", false, "leave out what is done")
	return command
}

func jobStart(o *options) *cobra.Command {
	return &cobra.Command{
		Use:     "start JOB STEP",
		Short:   "Begin a step at the car",
		Example: "  ramprow job start 17 open.valve-cover",
		RunE: o.changeJob(func(ctx context.Context, s *session, job string, rest []string) (jobAnswer, string, error) {
			r, err := s.Job.StartStep(ctx, &jobv1.StartStepRequest{RequestId: s.once(), Job: job, Step: rest[0]})
			return r, "begun: " + rest[0], err
		}),
	}
}

func jobPause(o *options) *cobra.Command {
	var reason string
	command := &cobra.Command{
		Use:     "pause JOB STEP",
		Short:   "Stop the clock of a step",
		Example: "  ramprow job pause 17 open.valve-cover --reason 'waits for the tool'",
		RunE: o.changeJob(func(ctx context.Context, s *session, job string, rest []string) (jobAnswer, string, error) {
			r, err := s.Job.PauseStep(ctx, &jobv1.PauseStepRequest{RequestId: s.once(), Job: job, Step: rest[0], Reason: reason})
			return r, "paused: " + rest[0], err
		}),
	}
	command.Flags().StringVar(&reason, "reason", "", "why")
	return command
}

func jobResume(o *options) *cobra.Command {
	return &cobra.Command{
		Use:     "resume JOB STEP",
		Short:   "Start the clock of a step again",
		Example: "  ramprow job resume 17 open.valve-cover",
		RunE: o.changeJob(func(ctx context.Context, s *session, job string, rest []string) (jobAnswer, string, error) {
			r, err := s.Job.ResumeStep(ctx, &jobv1.ResumeStepRequest{RequestId: s.once(), Job: job, Step: rest[0]})
			return r, "resumed: " + rest[0], err
		}),
	}
}

func jobDone(o *options) *cobra.Command {
	var tray, worked, note string
	command := &cobra.Command{
		Use:     "done JOB STEP",
		Short:   "Say that a step is done, and in which tray its pieces lie",
		Example: "  ramprow job done 17 open.valve-cover --tray A3 --worked 12m",
		RunE: o.changeJob(func(ctx context.Context, s *session, job string, rest []string) (jobAnswer, string, error) {
			var hands *durationpb.Duration
			if worked != "" {
				var err error
				if hands, err = parseDuration(worked); err != nil {
					return nil, "", err
				}
			}
			r, err := s.Job.FinishStep(ctx, &jobv1.FinishStepRequest{
				RequestId: s.once(), Job: job, Step: rest[0], Tray: tray, Worked: hands, Note: note,
			})
			return r, "done: " + rest[0], err
		}),
	}
	command.Flags().StringVar(&tray, "tray", "", "tray for the pieces that came off; otherwise one named after the step")
	command.Flags().StringVar(&worked, "worked", "", "hands-on time, as in 12m, if the clock is wrong")
	command.Flags().StringVar(&note, "note", "", "anything worth keeping")
	return command
}
