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
	b := &pb.Basis{
		Asked: s.String(), TorqueFloorNm: s.TorqueFloor, Rule: cataloguev1.DecisionRule_DECISION_RULE_GUARDED,
		WrenchTitle: w.tool.GetTitle(), DeviationPercent: w.tool.GetDeviationPercent(),
	}
	if spec.Rule == fastening.Simple {
		b.Rule = cataloguev1.DecisionRule_DECISION_RULE_SIMPLE
	}
	if s.Torque.Target > 0 {
		b.TorqueLowNm, b.TorqueHighNm = s.Torque.Low(), s.Torque.High()
	}
	if s.Angle.Target > 0 {
		b.AngleLowDeg, b.AngleHighDeg = s.Angle.Low(), s.Angle.High()
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
