package torqueaudit

import (
	"time"

	"ramprow/internal/engine/fastening"
	cataloguev1 "ramprow/proto/ramprow/catalogue/v1"
	pb "ramprow/proto/ramprow/torque_audit/v1"
)

// basis keeps with a reading what it was judged by: specification and tool may
// be others tomorrow. The tool is shown as it stood when the reading was taken.
func basis(j *joint, stage int, w *wrench, at time.Time) *pb.Basis {
	spec := j.track.Joint()
	s := spec.Stages[stage-1]
	b := basisOf(spec.Rule, w, at)
	b.Asked, b.TorqueFloorNm = s.String(), s.TorqueFloor
	if s.Torque.Target > 0 {
		b.TorqueLowNm, b.TorqueHighNm = s.Torque.Low(), s.Torque.High()
	}
	if s.Angle.Target > 0 {
		b.AngleLowDeg, b.AngleHighDeg = s.Angle.Low(), s.Angle.High()
	}
	return b
}

// basisOf is the part of it that holds whatever was asked: rule and tool.
func basisOf(rule fastening.Rule, w *wrench, at time.Time) *pb.Basis {
	b := &pb.Basis{
		Rule:        cataloguev1.DecisionRule_DECISION_RULE_GUARDED,
		WrenchTitle: w.tool.GetTitle(), DeviationPercent: w.tool.GetDeviationPercent(),
	}
	if rule == fastening.Simple {
		b.Rule = cataloguev1.DecisionRule_DECISION_RULE_SIMPLE
	}
	for _, c := range w.checks {
		if c.GetAt().AsTime().After(at) {
			break
		}
		b.LastCheckAt = c.GetAt()
		if c.GetCalibration() && c.GetPassed() {
			b.CalibratedAt, b.CalibrationDue, b.Certificate = c.GetAt(), c.GetCalibrationDue(), c.GetCertificate()
		}
	}
	return b
}
