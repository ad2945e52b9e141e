package torqueaudit

import (
	"fmt"
	"math"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/engine/fastening"
	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	pb "ramprow/proto/ramprow/torque_audit/v1"
)

// decideResidual keeps what a tight fastener was found to hold. It proves no
// stage; but a fastener that was loosened for it has to be tightened again.
func decideResidual(st *State, in sitelog.Input, req *pb.RecordResidualRequest) ([]proto.Message, *pb.RecordResidualResponse, error) {
	sh, err := st.open(req.GetJob())
	if err != nil {
		return nil, nil, err
	}
	j, err := sh.joint(req.GetJoint())
	if err != nil {
		return nil, nil, err
	}
	w, err := st.wrench(req.GetWrench())
	if err != nil {
		return nil, nil, err
	}
	at, err := readingTime(req.GetAt(), in.Now)
	if err != nil {
		return nil, nil, err
	}
	if err := validResidual(j, req); err != nil {
		return nil, nil, err
	}
	if err := sh.roomForResidual(j, req.GetFastener()); err != nil {
		return nil, nil, err
	}
	held := fastening.JudgeResidual(fastening.Residual{TorqueNM: req.GetTorqueNm(), At: at, Low: req.GetLowNm(), High: req.GetHighNm()}, w.toolOf())
	residual := &pb.Residual{
		Number: small(len(j.residuals) + 1), Joint: req.GetJoint(), Fastener: req.GetFastener(), Method: req.GetMethod(),
		TorqueNm: req.GetTorqueNm(), Wrench: req.GetWrench(), At: timestamppb.New(at), By: in.Actor.Person,
		LowNm: req.GetLowNm(), HighNm: req.GetHighNm(), LimitSource: req.GetLimitSource(),
		Verdict: verdicts[held.Verdict], Reason: held.Reason, Risk: held.Risk,
	}
	events := []proto.Message{&pb.ResidualRecorded{Job: sh.job, Residual: residual}}
	if why := undone(residual); why != "" {
		events = append(events, &pb.SheetReopened{
			Job: sh.job, PlanRevision: sh.revision, Joints: []string{req.GetJoint()}, Reason: "to be tightened again: " + why,
		})
	}
	return events, &pb.RecordResidualResponse{Residual: residual, SheetState: sh.after(in, events...).state()}, nil
}

// undone says why a fastener is not tight after it was asked; empty: it is.
func undone(r *pb.Residual) string {
	switch {
	case r.GetMethod() == pb.ResidualMethod_RESIDUAL_METHOD_OFF:
		return fmt.Sprintf("bolt %d of %s was loosened to find what it held", r.GetFastener(), r.GetJoint())
	case r.GetVerdict() == pb.Verdict_VERDICT_DOES_NOT_CONFORM:
		return fmt.Sprintf("bolt %d of %s held %g N·m", r.GetFastener(), r.GetJoint(), r.GetTorqueNm())
	}
	return ""
}

func validResidual(j *joint, req *pb.RecordResidualRequest) error {
	f := fault.New(fault.Invalid, "RESIDUAL_INVALID", "the check cannot be recorded like this; correct the named fields")
	for field, v := range map[string]float64{"torque_nm": req.GetTorqueNm(), "low_nm": req.GetLowNm(), "high_nm": req.GetHighNm()} {
		if v < 0 || math.IsNaN(v) || math.IsInf(v, 0) {
			f.WithField(field, "must be a finite number from 0 on, in newton metres")
		}
	}
	limited := req.GetLowNm() > 0 || req.GetHighNm() > 0
	switch {
	case req.GetFastener() < 1 || req.GetFastener() > j.due.GetFasteners():
		f.WithField("fastener", "is %d, but the joint has bolts 1 to %d", req.GetFastener(), j.due.GetFasteners())
	case req.GetHighNm() > 0 && req.GetHighNm() <= req.GetLowNm():
		f.WithField("high_nm", "must be above low_nm, or 0 for no upper limit")
	case limited && req.GetLimitSource() == "":
		f.WithField("limit_source", "is needed with limits: no standard gives any, so say who does")
	}
	if len(f.Fields) > 0 {
		return f
	}
	return nil
}
