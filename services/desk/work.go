package desk

import (
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/platform/fault"
	commonv1 "ramprow/proto/ramprow/common/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

const pageSize = 500

// workView is a technician's day.
type workView struct {
	// Mine are the jobs that are booked for whoever looks, or in work by anybody.
	Mine, Others []*jobv1.JobSummary
	// MoreOthers is how many of the others stand in the list of jobs alone.
	MoreOthers int
}

// shorten keeps the first of a list for a page, and says how many are left over.
func shorten[T any](list []T) (shown []T, more int) {
	if len(list) <= mostRows {
		return list, 0
	}
	return list[:mostRows], len(list) - mostRows
}

func (d *Desk) showWork(v *visit) error {
	r, err := d.Services.Job.ListJobs(v.ctx, &jobv1.ListJobsRequest{PageSize: pageSize, MinRevision: v.at()})
	if err != nil {
		return err
	}
	view := workView{}
	for _, j := range r.GetJobs() {
		if j.GetTechnician() == "people/"+v.who.Person {
			view.Mine = append(view.Mine, j)
		} else {
			view.Others = append(view.Others, j)
		}
	}
	view.Others, view.MoreOthers = shorten(view.Others)
	return v.render("work", view)
}

// benchView is one job as its technician sees it.
type benchView struct {
	Job   *jobv1.Job
	Now   *stepView // what to do next; nil: nothing is left or nothing may begin
	Later []stepView
	Done  []stepView
	// Tightening is true once there is a sheet with something left on it.
	Tightening bool
	// Proving is true while every step is done and the repair is not proved yet.
	Proving bool
}

// stepView is a step with how far it is.
type stepView struct {
	*jobv1.PlannedStep

	State  jobv1.StepState
	Worked *durationpb.Duration
	By     string
	Since  *timestamppb.Timestamp
}

func (d *Desk) showBench(v *visit) error {
	r, err := d.Services.Job.GetJob(v.ctx, &jobv1.GetJobRequest{Job: v.job(), MinRevision: v.at()})
	if err != nil {
		return err
	}
	return v.render("bench", benchOf(r.GetJob()))
}

func benchOf(j *jobv1.Job) benchView {
	view := benchView{Job: j}
	view.Tightening = j.GetAudit().GetState() == jobv1.AuditState_AUDIT_STATE_OPEN || j.GetAudit().GetState() == jobv1.AuditState_AUDIT_STATE_REOPENED
	progress := map[string]*jobv1.StepProgress{}
	for _, p := range j.GetProgress() {
		progress[p.GetStep()] = p
	}
	done := func(id string) bool { return progress[id].GetState() == jobv1.StepState_STEP_STATE_DONE }
	var steps []stepView
	for _, s := range j.GetPlan().GetSteps() {
		p := progress[s.GetId()]
		step := stepView{PlannedStep: s, State: p.GetState(), Worked: p.GetWorked(), By: p.GetBy(), Since: p.GetStartedAt()}
		if step.State == jobv1.StepState_STEP_STATE_UNSPECIFIED {
			step.State = jobv1.StepState_STEP_STATE_PLANNED
		}
		switch step.State {
		case jobv1.StepState_STEP_STATE_DONE:
			view.Done = append(view.Done, step)
		case jobv1.StepState_STEP_STATE_DROPPED:
		default:
			steps = append(steps, step)
		}
	}
	at := nextStep(steps, done)
	for i := range steps {
		if i == at {
			view.Now = &steps[i]
		} else {
			view.Later = append(view.Later, steps[i])
		}
	}
	view.Proving = j.GetState() == jobv1.JobState_JOB_STATE_PROVING
	return view
}

// nextStep gives the place of the step to work on: one that was begun, else the
// first of which everything before is done; -1 for none.
func nextStep(steps []stepView, done func(id string) bool) int {
	for i, s := range steps {
		if s.State == jobv1.StepState_STEP_STATE_STARTED {
			return i
		}
	}
	for i, s := range steps {
		if s.State == jobv1.StepState_STEP_STATE_PAUSED {
			return i
		}
	}
	for i, s := range steps {
		ready := true
		for _, before := range s.GetAfter() {
			ready = ready && done(before)
		}
		if ready {
			return i
		}
	}
	return -1
}

// actOnStep starts, pauses, resumes or finishes a step.
func (d *Desk) actOnStep(v *visit) error {
	deed := v.r.PathValue("deed")
	answer, err := d.callStep(v, v.r.PathValue("step"), deed)
	if err != nil {
		return err
	}
	return v.done("/work/"+v.r.PathValue("job"), "step-"+deed, answer.GetReceipt())
}

func (d *Desk) callStep(v *visit, step, deed string) (interface{ GetReceipt() *commonv1.Receipt }, error) {
	switch deed {
	case "start":
		return d.Services.Job.StartStep(v.ctx, &jobv1.StartStepRequest{RequestId: v.requestID(), Job: v.job(), Step: step})
	case "pause":
		return d.Services.Job.PauseStep(v.ctx, &jobv1.PauseStepRequest{RequestId: v.requestID(), Job: v.job(), Step: step, Reason: v.form("reason")})
	case "resume":
		return d.Services.Job.ResumeStep(v.ctx, &jobv1.ResumeStepRequest{RequestId: v.requestID(), Job: v.job(), Step: step})
	case "finish":
		return d.Services.Job.FinishStep(v.ctx, &jobv1.FinishStepRequest{
			RequestId: v.requestID(), Job: v.job(), Step: step, Tray: v.form("tray"), Note: v.form("note"),
		})
	default:
		return nil, fault.New(fault.NotFound, "DEED_UNKNOWN", "a step can be started, paused, resumed or finished")
	}
}

// findingKinds are what a technician can report, in the words of the form.
var findingKinds = map[string]jobv1.FindingKind{
	"design":   jobv1.FindingKind_FINDING_KIND_DESIGN,
	"seized":   jobv1.FindingKind_FINDING_KIND_SEIZED,
	"broken":   jobv1.FindingKind_FINDING_KIND_BROKEN_UP,
	"notfound": jobv1.FindingKind_FINDING_KIND_CAUSE_NOT_FOUND,
	"other":    jobv1.FindingKind_FINDING_KIND_OTHER,
}

func (d *Desk) reportFinding(v *visit) error {
	missing, err := optionalCount(v, "missing")
	if err != nil {
		return err
	}
	kind, ok := findingKinds[v.form("kind")]
	if !ok {
		return badField("kind", "must be chosen")
	}
	r, err := d.Services.Job.ReportFinding(v.ctx, &jobv1.ReportFindingRequest{
		RequestId: v.requestID(), Job: v.job(), Kind: kind, Step: v.form("step"), Feature: v.form("feature"), Value: v.form("value"),
		Piece: v.form("piece"), PiecesMissing: missing, Note: v.form("note"),
	})
	if err != nil {
		return err
	}
	return v.done("/work/"+v.r.PathValue("job"), "finding", r.GetReceipt())
}

// optionalCount reads a small number that may be left out.
func optionalCount(v *visit, name string) (uint32, error) {
	if v.form(name) == "" {
		return 0, nil
	}
	n, err := v.whole(name)
	if err != nil || n < 0 || n > 1000 {
		return 0, badField(name, "must be a whole number from 0 to 1000")
	}
	return uint32(n), nil
}
