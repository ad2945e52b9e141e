package job

import (
	"slices"
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
	if j.Plan != nil && slices.Equal(causes, j.Causes) {
		return nil, fault.New(fault.Precondition, "DIAGNOSIS_UNCHANGED", "%s is planned for these causes already", j.Name)
	}
	plan, err := planFor(j, c, causes)
	if err != nil {
		return nil, err
	}
	if j.Plan != nil {
		reason := req.GetReason()
		if reason == "" {
			reason = "another diagnosis was confirmed"
		}
		return []proto.Message{revised(j, plan, causes, j.Vehicle, reason)}, nil
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
	}}, nil
}

// revised says what changes against the plan before.
func revised(j *Job, plan *jobv1.Plan, causes []string, car *jobv1.Vehicle, reason string) *jobv1.PlanRevised {
	var done []string
	for _, s := range plan.GetSteps() {
		if j.stepDone(s.GetId()) {
			done = append(done, s.GetId())
		}
	}
	return &jobv1.PlanRevised{
		Job: j.Name, Vehicle: car, Causes: causes, Plan: plan, Reason: reason, StepsDone: done,
		Change: durationpb.New(plan.GetEffort().GetP50().AsDuration() - j.left().GetP50().AsDuration()),
	}
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
