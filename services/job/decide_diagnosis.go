package job

import (
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/catalogue"
	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	commonv1 "ramprow/proto/ramprow/common/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// confirm plans the repair of the causes. The first time it starts the saga;
// later it revises the plan from the car as it stands.
func confirm(j *Job, c *catalogue.Catalogue, in sitelog.Input, req *jobv1.ConfirmDiagnosisRequest) ([]proto.Message, error) {
	causes := slices.Sorted(slices.Values(req.GetCauses()))
	if err := confirmChanges(j, causes, req); err != nil {
		return nil, err
	}
	w := j.asked(causes, req.GetWay())
	if j.Plan != nil {
		again := slices.Sorted(slices.Values(req.GetAgain()))
		plan, err := planThrough(j.undone(again), c, causes, w)
		if err != nil {
			return nil, err
		}
		return revised(j, in, &jobv1.PlanRevised{
			Vehicle: j.Vehicle, Causes: causes, Plan: plan, Again: again,
			Reason: orElse(req.GetReason(), "another diagnosis was confirmed"),
		}), nil
	}
	plan, err := planThrough(j, c, causes, w)
	if err != nil {
		return nil, err
	}
	return []proto.Message{&jobv1.DiagnosisConfirmed{
		Job:           j.Name,
		Vehicle:       j.Vehicle,
		Causes:        causes,
		Plan:          plan,
		EarliestStart: earliest(j, in.Now),
		WantedBy:      stamp(j.WantedBy),
		Priority:      j.Priority,
		Title:         title(j, c, causes),
		Customer:      j.Customer.GetName(),
	}}, nil
}

// confirmChanges refuses a confirmation that says nothing new. The same repair wanted once more is new, if that is said.
func confirmChanges(j *Job, causes []string, req *jobv1.ConfirmDiagnosisRequest) error {
	for _, id := range req.GetAgain() {
		if !slices.Contains(causes, id) || !slices.Contains(j.Car.Repaired, id) {
			return fault.New(fault.Invalid, "REPAIR_NOT_DONE", "the repair of %s was not done yet, so it cannot be done again; leave it out of 'again'", id).
				WithField("again", "%s is not among the causes that were repaired", id)
		}
		if req.GetReason() == "" {
			return fault.New(fault.Invalid, "REASON_MISSING", "say why a repair that was done has to be done again").WithField("reason", "must not be empty")
		}
	}
	if j.Plan == nil || !slices.Equal(causes, j.Causes) || req.GetWay() != nil || len(req.GetAgain()) > 0 {
		return nil
	}
	refusal := fault.New(fault.Precondition, "DIAGNOSIS_UNCHANGED", "%s is planned for these causes already", j.Name)
	if i := slices.IndexFunc(causes, func(id string) bool { return slices.Contains(j.Car.Repaired, id) }); i >= 0 {
		refusal = fault.New(fault.Precondition, "DIAGNOSIS_UNCHANGED",
			"%s is planned for these causes already, and the repair of %s is done; if it has to be done once more, say so: "+
				"'ramprow job confirm %s %s --again %s --reason …'", j.Name, causes[i], numberOf(j.Name), strings.Join(causes, " "), causes[i])
	}
	return refusal
}

// undone is the job as if repairs had not been done, for a plan that does them once more.
func (j *Job) undone(causes []string) *Job {
	if len(causes) == 0 {
		return j
	}
	before := j.clone()
	for _, id := range causes {
		before.Car.Repaired = without(before.Car.Repaired, id)
	}
	return before
}

// revised completes a revision by what changes against the plan before. One that
// leaves nothing to do finishes the work, since no step will.
func revised(j *Job, in sitelog.Input, m *jobv1.PlanRevised) []proto.Message {
	m.Job = j.Name
	m.Change = durationpb.New(m.GetPlan().GetEffort().GetP50().AsDuration() - j.left().GetP50().AsDuration())
	for _, s := range m.GetPlan().GetSteps() {
		if j.stepDone(s.GetId()) {
			m.StepsDone = append(m.StepsDone, s.GetId())
		}
	}
	after := j.clone()
	after.apply(m, happening{at: in.Now})
	events := append([]proto.Message{m}, askAuthority(j, after, m.GetReason())...)
	if after.allDone() && after.FinishedAt.IsZero() {
		events = append(events, &jobv1.WorkFinished{Job: j.Name, Worked: durationpb.New(after.totalWorked())})
	}
	return events
}

// earliest is when the car can be in a bay.
func earliest(j *Job, now time.Time) *timestamppb.Timestamp {
	if !j.Received && j.ExpectedAt.After(now) {
		return timestamppb.New(j.ExpectedAt)
	}
	return timestamppb.New(now)
}

func stamp(t time.Time) *timestamppb.Timestamp {
	if t.IsZero() {
		return nil
	}
	return timestamppb.New(t)
}

// title is how the job is called on a board.
func title(j *Job, c *catalogue.Catalogue, causes []string) string {
	name := j.Vehicle.GetPlate()
	if name == "" {
		name = j.Vehicle.GetVin()
	}
	if len(causes) > 0 {
		name += " · " + c.Cause(causes[0]).GetRepair().GetTitle()
	}
	return name
}

// left is the effort of the steps that are not done: the plan's spread scaled
// by the share of the mean that is left. The engine computes it anew with each replan.
func (j *Job) left() *commonv1.Spread {
	var all, open time.Duration
	for _, s := range j.Plan.GetSteps() {
		mean := meanOf(s.GetEffort())
		if slices.Contains(j.DoneBefore, s.GetId()) {
			continue
		}
		all += mean
		if !j.stepDone(s.GetId()) {
			open += mean
		}
	}
	return scaled(j.Plan.GetEffort(), open, all)
}

func scaled(s *commonv1.Spread, part, whole time.Duration) *commonv1.Spread {
	if whole <= 0 {
		return &commonv1.Spread{Mean: durationpb.New(0), P50: durationpb.New(0), P80: durationpb.New(0)}
	}
	share := func(d *durationpb.Duration) *durationpb.Duration {
		return durationpb.New(time.Duration(float64(d.AsDuration()) * float64(part) / float64(whole)).Round(time.Second))
	}
	return &commonv1.Spread{Mean: share(s.GetMean()), P50: share(s.GetP50()), P80: share(s.GetP80())}
}
