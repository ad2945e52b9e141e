package job

import (
	"slices"
	"time"

	"google.golang.org/protobuf/proto"

	jobv1 "ramprow/proto/ramprow/job/v1"
)

// applyWork is the plan and what is done at the car.
func (j *Job) applyWork(m proto.Message, h happening) bool {
	switch m := m.(type) {
	case *jobv1.DiagnosisConfirmed:
		j.adopt(m.GetPlan(), m.GetCauses(), h.at)
		j.TraceID = h.trace
	case *jobv1.PlanRevised:
		for _, id := range m.GetAgain() {
			j.Car.Repaired = without(j.Car.Repaired, id)
		}
		j.adopt(m.GetPlan(), m.GetCauses(), h.at)
		j.DoneBefore = m.GetStepsDone()
		if m.GetVehicle() != nil {
			j.Vehicle = m.GetVehicle()
		}
	case *jobv1.StepStarted:
		j.start(m.GetStep(), h)
	case *jobv1.StepPaused:
		j.progress(m.GetStep(), func(p *Progress) {
			p.State, p.RunningAt, p.Worked = jobv1.StepState_STEP_STATE_PAUSED, time.Time{}, m.GetWorked().AsDuration()
		})
	case *jobv1.StepResumed:
		j.progress(m.GetStep(), func(p *Progress) { p.State, p.RunningAt = jobv1.StepState_STEP_STATE_STARTED, h.at })
	case *jobv1.StepDone:
		j.progress(m.GetStep(), func(p *Progress) {
			p.State, p.RunningAt, p.DoneAt = jobv1.StepState_STEP_STATE_DONE, time.Time{}, h.at
			p.Worked, p.Note = m.GetWorked().AsDuration(), m.GetNote()
		})
		j.moveCar(j.step(m.GetStep()))
	case *jobv1.WorkFinished:
		j.FinishedAt = h.at
	default:
		return false
	}
	return true
}

// start begins a step. One that was dropped and came back goes on from the time
// that it took before.
func (j *Job) start(step string, h happening) {
	j.progress(step, func(p *Progress) {
		p.State, p.RunningAt, p.By = jobv1.StepState_STEP_STATE_STARTED, h.at, h.by
		if p.StartedAt.IsZero() {
			p.StartedAt = h.at
			j.Order = append(j.Order, step)
		}
	})
}

// adopt takes a plan. A step under way that is no longer in it is dropped with
// the time it took; one that comes back is planned again. Work that was finished
// stays finished when the plan brings nothing new.
func (j *Job) adopt(plan *jobv1.Plan, causes []string, at time.Time) {
	j.Plan, j.Causes = plan, causes
	if !j.allDone() {
		j.FinishedAt = time.Time{}
	}
	for id := range j.Progress {
		j.progress(id, func(p *Progress) {
			switch planned := j.step(id) != nil; {
			case p.State == jobv1.StepState_STEP_STATE_DONE:
			case !planned:
				p.Worked = p.workedUntil(at)
				p.State, p.RunningAt = jobv1.StepState_STEP_STATE_DROPPED, time.Time{}
			case p.State == jobv1.StepState_STEP_STATE_DROPPED:
				p.State = jobv1.StepState_STEP_STATE_PLANNED
			}
		})
	}
}

func (j *Job) progress(step string, change func(*Progress)) {
	p := j.Progress[step]
	change(&p)
	j.Progress[step] = p
}

// moveCar keeps how the car stands after a step.
func (j *Job) moveCar(s *jobv1.PlannedStep) {
	source := s.GetSource()
	switch s.GetKind() {
	case jobv1.PlannedStep_KIND_TAKE_OFF:
		j.Car.Off = append(j.Car.Off, source)
	case jobv1.PlannedStep_KIND_REFIT:
		j.Car.Off = without(j.Car.Off, source)
	case jobv1.PlannedStep_KIND_ENTER_STATE:
		j.Car.States = append(j.Car.States, source)
	case jobv1.PlannedStep_KIND_LEAVE_STATE:
		j.Car.States = without(j.Car.States, source)
	case jobv1.PlannedStep_KIND_REPAIR:
		j.Car.Repaired = append(j.Car.Repaired, source)
	case jobv1.PlannedStep_KIND_UNSPECIFIED, jobv1.PlannedStep_KIND_LOOK:
	}
}

func without(list []string, item string) []string {
	return slices.DeleteFunc(slices.Clone(list), func(s string) bool { return s == item })
}
