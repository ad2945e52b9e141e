package simulate

import (
	"math/rand/v2"
	"slices"

	"ramprow/internal/platform/simulation"
	cataloguev1 "ramprow/proto/ramprow/catalogue/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	torqueauditv1 "ramprow/proto/ramprow/torque_audit/v1"
)

// jointToTighten is a joint whose step was begun and which is not known to be proved.
func (v *visit) jointToTighten() *jobv1.JointDue {
	var reached []*jobv1.JointDue
	for _, due := range v.job.GetPlan().GetJoints() {
		if s := v.state(due.GetForStep()); s == jobv1.StepState_STEP_STATE_STARTED || s == jobv1.StepState_STEP_STATE_DONE {
			reached = append(reached, due)
		}
	}
	if len(reached) == 0 || v.job.GetAudit().GetState() == jobv1.AuditState_AUDIT_STATE_COMPLETE {
		return nil
	}
	for _, due := range reached {
		if !v.proved[due.GetJoint()] {
			return due
		}
	}
	return nil
}

// tighten does the turn that the sheet asked for last, or the joint's first one.
func (v *visit) tighten(r *rand.Rand, id string, due *jobv1.JointDue) simulation.Request {
	request := &torqueauditv1.PostReadingRequest{RequestId: id, Job: v.job.GetName(), Joint: due.GetJoint(), Fastener: 1}
	if len(due.GetOrder()) > 0 {
		request.Fastener = due.GetOrder()[0]
	}
	var stage *cataloguev1.Stage
	if designs := due.GetDesigns(); len(designs) > 0 && len(designs[0].GetStages()) > 0 {
		stage = designs[0].GetStages()[0]
	}
	if next := v.next; next != nil && next.GetJoint() == due.GetJoint() {
		request.Fastener, request.Stage, stage = next.GetFastener(), next.GetStage(), next.GetSpec()
	}
	request.TorqueNm, request.AngleDeg = stage.GetTorqueNm(), stage.GetAngleDeg()
	request.Wrench = "wrenches/angle"
	if stage.GetAngleDeg() == 0 && stage.GetTorqueNm() < 25 {
		request.Wrench = "wrenches/small"
	}
	if r.IntN(25) == 0 {
		request.TorqueNm *= 1.5 // too much
	}
	return ask(tightenLog, torqueauditv1.TorqueAuditService_PostReading_FullMethodName, request)
}

// hearReading follows what the sheet asks for next.
func (v *visit) hearReading(request *torqueauditv1.PostReadingRequest, m *torqueauditv1.PostReadingResponse) {
	v.next = m.GetNext()
	if m.GetJointProved() {
		v.proved[request.GetJoint()] = true
	}
}

// prove signs, clears, reads, drives, reads, and asks for the invoice.
func (v *visit) prove(r *rand.Rand, id string) simulation.Request {
	job := v.job.GetName()
	switch {
	case r.IntN(25) == 0:
		return v.correct(r, id)
	case !v.signed:
		return ask(tightenLog, torqueauditv1.TorqueAuditService_SignSheet_FullMethodName, &torqueauditv1.SignSheetRequest{RequestId: id, Job: job})
	case v.job.GetCodesClearedAt() == nil:
		return ask(jobLog, jobv1.JobService_ClearCodes_FullMethodName, &jobv1.ClearCodesRequest{RequestId: id, Job: job})
	case !v.wasRead(jobv1.ReadingMoment_READING_MOMENT_AFTER_CLEARING):
		return v.read(id, jobv1.ReadingMoment_READING_MOMENT_AFTER_CLEARING)
	case len(v.job.GetRoadTests()) == 0:
		return ask(jobLog, jobv1.JobService_RecordRoadTest_FullMethodName, &jobv1.RecordRoadTestRequest{
			RequestId: id, Job: job, Passed: r.IntN(8) > 0, DistanceKm: 14,
		})
	case !v.wasRead(jobv1.ReadingMoment_READING_MOMENT_AFTER_ROAD_TEST):
		return v.read(id, jobv1.ReadingMoment_READING_MOMENT_AFTER_ROAD_TEST)
	}
	return ask(jobLog, jobv1.JobService_CloseInvoice_FullMethodName, &jobv1.CloseInvoiceRequest{RequestId: id, Job: job})
}

func (v *visit) wasRead(moment jobv1.ReadingMoment) bool {
	return slices.ContainsFunc(v.job.GetCodeReports(), func(r *jobv1.CodeReport) bool { return r.GetMoment() == moment })
}

func (v *visit) read(id string, moment jobv1.ReadingMoment) simulation.Request {
	return ask(jobLog, jobv1.JobService_RecordCodes_FullMethodName, &jobv1.RecordCodesRequest{RequestId: id, Job: v.job.GetName(), Moment: moment})
}

// correct takes a reading back, so that a sheet that was complete is not any more.
func (v *visit) correct(r *rand.Rand, id string) simulation.Request {
	return ask(tightenLog, torqueauditv1.TorqueAuditService_CorrectReading_FullMethodName, &torqueauditv1.CorrectReadingRequest{
		RequestId: id, Job: v.job.GetName(), Number: uint32(1 + r.IntN(6)), Reason: "wrong bolt", //nolint:gosec // small
	})
}
