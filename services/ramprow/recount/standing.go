package recount

import (
	"slices"
	"time"

	"google.golang.org/protobuf/proto"

	jobv1 "ramprow/proto/ramprow/job/v1"
)

// happened is one event of a job's log.
type happened struct {
	at    time.Time // never before the one of an earlier event
	told  time.Time // as the writer's clock had it
	by    string
	event proto.Message
}

// standing is how a job stands after its events so far.
type standing struct {
	here, over, cancelled bool
	planned               bool
	authorised, costs     int64
	partsWanted, partsIn  bool
	running, stopped      map[string]string // person by step
	worked                map[string]time.Duration
	since                 map[string]time.Time
	done                  map[string]bool
	bay                   string
	finished, driven      bool
	finishedAt            time.Time
	again                 bool
	plan                  *jobv1.Plan
	designs               map[string]string
	audit                 *jobv1.AuditStatus
	told                  time.Time
	untold                bool
	booking               *jobv1.BookingStatus
}

// stand reads a job's events from their beginning.
func stand(events []happened) *standing {
	s := &standing{
		running: map[string]string{}, stopped: map[string]string{}, worked: map[string]time.Duration{},
		since: map[string]time.Time{}, done: map[string]bool{}, designs: map[string]string{},
	}
	for _, e := range events {
		if !s.over {
			s.take(e)
		}
	}
	return s
}

func (s *standing) take(e happened) {
	switch m := e.event.(type) {
	case *jobv1.JobOpened:
		s.here = m.GetExpectedAt() == nil
	case *jobv1.VehicleReceived:
		s.here = true
	case *jobv1.DiagnosisConfirmed:
		s.adopt(m.GetPlan(), e.told)
	case *jobv1.PlanRevised:
		s.adopt(m.GetPlan(), e.told)
		s.again = s.again || len(m.GetAgain()) > 0
		s.driven = false
	case *jobv1.DesignFound:
		s.designs[m.GetFeature()] = m.GetValue()
		s.price()
	case *jobv1.WorkAuthorised:
		s.authorised = max(s.authorised, m.GetAuthorisation().GetUpTo().GetMinorUnits())
		s.untold = true
		s.tell()
	case *jobv1.BookingNoted:
		s.booking = m.GetStatus()
		if s.bay != "" && s.booking.GetBay() != "" {
			s.bay = s.booking.GetBay()
		}
		s.tell()
	case *jobv1.PartsNoted:
		s.partsIn = m.GetStatus().GetState() != jobv1.PartsState_PARTS_STATE_SHORT
	case *jobv1.AuditNoted:
		s.audit = m.GetStatus()
	case *jobv1.StepStarted:
		s.here, s.driven = true, false
		s.running[m.GetStep()], s.since[m.GetStep()] = e.by, e.told
		if s.bay == "" {
			s.bay = s.booking.GetBay()
		}
	case *jobv1.StepResumed:
		s.running[m.GetStep()], s.since[m.GetStep()] = s.stopped[m.GetStep()], e.told
	case *jobv1.StepPaused:
		s.stop(m.GetStep(), m.GetWorked().AsDuration())
	case *jobv1.StepDone:
		s.stop(m.GetStep(), m.GetWorked().AsDuration())
		s.done[m.GetStep()] = true
	case *jobv1.WorkFinished:
		s.finished, s.finishedAt, s.again, s.bay = true, e.told, true, ""
	case *jobv1.RoadTestRecorded:
		s.driven = m.GetTest().GetPassed()
	case *jobv1.InvoiceClosed:
		s.over, s.here = true, true
	case *jobv1.JobCancelled:
		s.over, s.cancelled = true, true
	}
}

// stop ends work at a step; who it was is remembered for when it goes on.
func (s *standing) stop(step string, worked time.Duration) {
	if by, runs := s.running[step]; runs {
		s.stopped[step] = by
	}
	delete(s.running, step)
	s.worked[step] = worked
}

// adopt takes a plan: what it leaves out is not gone on with.
func (s *standing) adopt(p *jobv1.Plan, at time.Time) {
	s.plan, s.planned = p, true
	s.designs = map[string]string{}
	s.price()
	all := true
	for _, step := range p.GetSteps() {
		all = all && s.done[step.GetId()]
	}
	if !all {
		s.finished, s.finishedAt = false, time.Time{}
	}
	for step := range s.running {
		planned := slices.ContainsFunc(p.GetSteps(), func(one *jobv1.PlannedStep) bool { return one.GetId() == step })
		if !planned {
			s.stop(step, s.worked[step]+max(0, at.Sub(s.since[step])))
		}
	}
}

// price is what the plan costs: of parts that are alternatives, the dearest set, until the design is known.
func (s *standing) price() {
	s.costs = s.plan.GetLabourEstimate().GetMinorUnits()
	s.partsWanted = false
	byFeature := map[string]map[string]int64{}
	for _, l := range s.plan.GetParts() {
		known, found := s.designs[l.GetFeature()]
		switch {
		case l.GetFeature() == "", found && known == l.GetValue():
			s.costs += l.GetPrice().GetMinorUnits()
		case found:
			continue
		default:
			if byFeature[l.GetFeature()] == nil {
				byFeature[l.GetFeature()] = map[string]int64{}
			}
			byFeature[l.GetFeature()][l.GetValue()] += l.GetPrice().GetMinorUnits()
		}
		s.partsWanted = true
	}
	for _, values := range byFeature {
		var dearest int64
		for _, price := range values {
			dearest = max(dearest, price)
		}
		s.costs += dearest
	}
}

func (s *standing) tell() {
	at := s.booking.GetPromised()
	if at == nil {
		at = s.booking.GetWhen().GetEnd()
	}
	if s.untold && at != nil {
		s.told, s.untold = at.AsTime(), false
	}
}

func (s *standing) hands() []string {
	var people []string
	for _, by := range s.running {
		if !slices.Contains(people, by) {
			people = append(people, by)
		}
	}
	return people
}

func (s *standing) quoted() (sum time.Duration) {
	for _, step := range s.plan.GetSteps() {
		e := step.GetEffort()
		sum += (e.GetOptimistic().AsDuration() + 4*e.GetLikely().AsDuration() + e.GetPessimistic().AsDuration()) / 6
	}
	return sum
}

func (s *standing) taken() (sum time.Duration) {
	for _, worked := range s.worked {
		sum += worked
	}
	return sum
}
