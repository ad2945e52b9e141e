package job

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"

	"ramprow/internal/catalogue"
	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// takeWay revises the plan to go another way from the car as it stands. Where the way was gone already, its steps are
// posted as done with it: that is a fact, so nothing but the order of the work is asked about it.
func takeWay(j *Job, c *catalogue.Catalogue, in sitelog.Input, req *jobv1.TakeWayRequest) ([]proto.Message, error) {
	if j.Plan == nil {
		return nil, notDiagnosed(j)
	}
	if req.GetDone() && (len(req.GetWay().GetThrough()) == 0 || req.GetWorked() == nil) {
		return nil, fault.New(fault.Invalid, "WAY_DONE_INCOMPLETE", "say which operations were done, and how long they took").
			WithField("way.through", "names what was done; worked says how long it took")
	}
	w := j.asked(j.Causes, req.GetWay())
	plan, err := planThrough(j, c, j.Causes, w)
	if err != nil {
		return nil, err
	}
	if !req.GetDone() && proto.Equal(plan.GetWay(), j.Plan.GetWay()) && sameWork(plan, j.Plan) {
		return nil, fault.New(fault.Precondition, "WAY_UNCHANGED", "%s goes this way already", j.Name)
	}
	events := revised(j, in, &jobv1.PlanRevised{Vehicle: j.Vehicle, Causes: j.Causes, Plan: plan, Reason: req.GetReason()})
	if !req.GetDone() {
		return events, nil
	}
	gone, err := postGone(outcome(j, events, in), in, req)
	return append(events, gone...), err
}

// postGone posts the operations that were done, in their order. The time is shared out by what was planned for each.
func postGone(j *Job, in sitelog.Input, req *jobv1.TakeWayRequest) ([]proto.Message, error) {
	var steps []*jobv1.PlannedStep
	var planned time.Duration
	for _, id := range req.GetWay().GetThrough() {
		i := slices.IndexFunc(j.Plan.GetSteps(), func(s *jobv1.PlannedStep) bool {
			return s.GetKind() == jobv1.PlannedStep_KIND_TAKE_OFF && s.GetSource() == id && !j.stepDone(s.GetId())
		})
		if i < 0 {
			return nil, fault.New(fault.Precondition, "WAY_DONE_BEFORE", "%s is posted as done already; leave it out", id).With("operation", id)
		}
		steps = append(steps, j.Plan.GetSteps()[i])
		planned += meanOf(j.Plan.GetSteps()[i].GetEffort())
	}
	var events []proto.Message
	for _, s := range steps {
		if missing := j.missing(s); len(missing) > 0 {
			return nil, fault.New(fault.Precondition, "WAY_NOT_OPEN",
				"%s cannot have been done before: %s; post that first, or name it too", s.GetTitle(), strings.Join(j.titles(missing), ", ")).
				With("step", s.GetId())
		}
		share := req.GetWorked().AsDuration() / time.Duration(len(steps))
		if planned > 0 {
			share = time.Duration(float64(req.GetWorked().AsDuration()) * float64(meanOf(s.GetEffort())) / float64(planned)).Round(time.Second)
		}
		var posted []proto.Message
		if j.Progress[s.GetId()].State != jobv1.StepState_STEP_STATE_STARTED {
			posted = append(posted, &jobv1.StepStarted{Job: j.Name, Step: s.GetId(), Title: s.GetTitle(), Phase: s.GetPhase(), First: len(j.Progress) == 0})
			j = outcome(j, posted, in)
		}
		done, err := finishStep(j, in, &jobv1.FinishStepRequest{Step: s.GetId(), Tray: req.GetTray(), Worked: durationpb.New(share), Note: req.GetReason()})
		if err != nil {
			return nil, err
		}
		j = outcome(j, done, in)
		events = append(append(events, posted...), done...)
	}
	return events, nil
}

// seizedAt replans when something at a step that opens the car will not come: with the minutes more that the finder
// judges, or else around it. Where nothing leads around it, the plan stays, and the technician frees it or says how long that takes.
func seizedAt(j *Job, c *catalogue.Catalogue, in sitelog.Input, f *jobv1.Finding) ([]proto.Message, error) {
	s := j.step(f.GetStep())
	if s.GetKind() != jobv1.PlannedStep_KIND_TAKE_OFF || j.stepDone(s.GetId()) {
		return nil, nil
	}
	w := j.way(j.Causes)
	w.Through = without(w.GetThrough(), s.GetSource())
	if f.GetExtra() != nil {
		w.Delays = append(slices.DeleteFunc(w.GetDelays(), func(d *jobv1.Delay) bool { return d.GetOperation() == s.GetSource() }),
			&jobv1.Delay{Operation: s.GetSource(), Extra: f.GetExtra(), Reason: f.GetNote()})
	} else if !slices.Contains(w.GetWithout(), s.GetSource()) {
		w.Without = append(w.Without, s.GetSource())
	}
	w.Name = ""
	plan, err := planThrough(j, c, j.Causes, w)
	if impossible(err) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	return revised(j, in, &jobv1.PlanRevised{
		Vehicle: j.Vehicle, Causes: j.Causes, Plan: plan, Reason: fmt.Sprintf("seized at '%s': %s", s.GetTitle(), f.GetNote()),
	}), nil
}
