package torqueaudit

import (
	"fmt"
	"slices"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/sitelog"
	jobv1 "ramprow/proto/ramprow/job/v1"
	pb "ramprow/proto/ramprow/torque_audit/v1"
)

// react follows the job's log. What concerns no sheet, a void one or an older
// plan brings nothing about.
func react(s *State, f sitelog.Foreign, in sitelog.Input) ([]proto.Message, error) {
	if away := s.lacks(f.Message); away != nil {
		return nil, away
	}
	switch m := f.Message.(type) {
	case *jobv1.DiagnosisConfirmed:
		return s.follow(in, order{m.GetJob(), m.GetVehicle(), m.GetCustomer()}, m.GetPlan(), nil, "the diagnosis was confirmed"), nil
	case *jobv1.PlanRevised:
		return s.follow(in, order{job: m.GetJob(), vehicle: m.GetVehicle()}, m.GetPlan(), m.GetStepsDone(), m.GetReason()), nil
	case *jobv1.DesignFound:
		return s.narrow(in, m), nil
	case *jobv1.StepStarted:
		return s.reach(m.GetJob(), m.GetStep()), nil
	case *jobv1.StepDone:
		return s.reach(m.GetJob(), m.GetStep()), nil
	case *jobv1.JobCancelled:
		if sh := s.sheets[m.GetJob()]; sh != nil && !sh.void {
			return []proto.Message{&pb.SheetVoided{Job: m.GetJob(), Reason: m.GetReason()}}, nil
		}
	}
	return nil, nil
}

// lacks gives the error that brings back the sheet which an event is about.
func (s *State) lacks(m proto.Message) *sitelog.ArchivedError {
	switch m.(type) {
	case *jobv1.DiagnosisConfirmed, *jobv1.PlanRevised, *jobv1.DesignFound, *jobv1.StepStarted, *jobv1.StepDone, *jobv1.JobCancelled:
		if of, ok := m.(ofJob); ok {
			return s.archived(of.GetJob())
		}
	}
	return nil
}

// order is whose car a job is about.
type order struct {
	job      string
	vehicle  *jobv1.Vehicle
	customer string
}

// follow opens the sheet from a plan or revises it.
func (s *State) follow(in sitelog.Input, o order, plan *jobv1.Plan, stepsDone []string, reason string) []proto.Message {
	before := s.sheets[o.job]
	if before == nil {
		opened := &pb.SheetOpened{
			Job: o.job, Vehicle: vehicleWords(o.vehicle), PlanRevision: plan.GetRevision(), Joints: plan.GetJoints(),
			Vin: o.vehicle.GetVin(), Customer: o.customer, Notice: plan.GetNotice(), OdometerKm: float64(o.vehicle.GetOdometerKm()),
			Car: o.vehicle.GetPseudonym(),
		}
		after := (&sheet{job: o.job}).after(in, opened)
		return after.continued(stepsDone, opened)
	}
	if before.void || plan.GetRevision() <= before.revision {
		return nil
	}
	return before.revise(in, stepsDone, &pb.SheetRevised{
		Job: o.job, PlanRevision: plan.GetRevision(), Joints: plan.GetJoints(), Reason: reason,
	})
}

func vehicleWords(v *jobv1.Vehicle) string {
	if v.GetPlate() != "" {
		return v.GetPlate()
	}
	return v.GetVin()
}

func (s *sheet) revise(in sitelog.Input, stepsDone []string, m *pb.SheetRevised) []proto.Message {
	after := s.after(in, m)
	for _, j := range s.live() {
		if id := j.due.GetJoint(); after.find(id).dropped {
			m.Dropped = append(m.Dropped, id)
		}
	}
	return after.continued(stepsDone, m)
}

// continued adds what follows at once: joints whose step is behind, and the
// completion of a sheet on which there is nothing to tighten.
func (s *sheet) continued(stepsDone []string, first proto.Message) []proto.Message {
	events := []proto.Message{first}
	if ready := s.awaiting(stepsDone...); len(ready) > 0 {
		events = append(events, &pb.JointReady{Job: s.job, Joints: ready})
	}
	if len(s.live()) == 0 {
		events = append(events, &pb.SheetCompleted{Job: s.job, PlanRevision: s.revision})
	}
	return events
}

// awaiting gives the joints that wait for one of the steps.
func (s *sheet) awaiting(steps ...string) []string {
	var ids []string
	for _, j := range s.live() {
		if !j.ready && slices.Contains(steps, j.due.GetForStep()) {
			ids = append(ids, j.due.GetJoint())
		}
	}
	return ids
}

// reach opens the joints of a step that was begun or done.
func (s *State) reach(job, step string) []proto.Message {
	sh := s.sheets[job]
	if sh == nil || sh.void {
		return nil
	}
	ids := sh.awaiting(step)
	if len(ids) == 0 {
		return nil
	}
	return []proto.Message{&pb.JointReady{Job: job, Joints: ids}}
}

// narrow settles the stages of joints that differ by the design found. A
// joint that is tightened alike in all designs is left as it is.
func (s *State) narrow(in sitelog.Input, m *jobv1.DesignFound) []proto.Message {
	sh := s.sheets[m.GetJob()]
	if sh == nil || sh.void {
		return nil
	}
	var joints []*jobv1.JointDue
	changed := false
	for _, j := range sh.live() {
		d := narrowed(j.due, m.GetFeature(), m.GetValue())
		changed = changed || !sameWork(j.due, d)
		joints = append(joints, d)
	}
	if !changed {
		return nil
	}
	return sh.revise(in, nil, &pb.SheetRevised{
		Job: m.GetJob(), PlanRevision: sh.revision, Joints: joints,
		Reason: fmt.Sprintf("%s is %s", m.GetFeature(), firstOf(m.GetTitle(), m.GetValue())),
	})
}

// narrowed keeps the designs that the value found allows, and calls them settled.
func narrowed(d *jobv1.JointDue, feature, value string) *jobv1.JointDue {
	d = proto.CloneOf(d)
	var kept []*jobv1.JointStages
	for _, design := range d.GetDesigns() {
		if design.GetFeature() == feature && design.GetValue() != value {
			continue
		}
		if design.GetFeature() == feature {
			design.Feature, design.Value = "", ""
		}
		kept = append(kept, design)
	}
	d.Designs = kept
	return d
}

func firstOf(texts ...string) string {
	i := slices.IndexFunc(texts, func(t string) bool { return t != "" })
	if i < 0 {
		return ""
	}
	return texts[i]
}
