package torqueaudit

import (
	"slices"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/engine/fastening"
	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	pb "ramprow/proto/ramprow/torque_audit/v1"
)

// calibrationMonths is the ISO 6789 default interval where none is given.
const calibrationMonths = 12

func decideSetWrench(st *State, in sitelog.Input, req *pb.SetWrenchRequest) ([]proto.Message, *pb.SetWrenchResponse, error) {
	tool := proto.CloneOf(req.GetWrench())
	// What the service finds out by itself cannot be told to it.
	tool.LastCheck, tool.Cycles = nil, 0
	if err := validWrench(tool, in.Now); err != nil {
		return nil, nil, err
	}
	known := st.wrenches[tool.GetName()]
	if known == nil {
		if tool.GetCalibratedAt() != nil && tool.GetCalibrationDue() == nil {
			tool.CalibrationDue = timestamppb.New(tool.GetCalibratedAt().AsTime().AddDate(0, calibrationMonths, 0))
		}
		preview := &State{wrenches: map[string]*wrench{}}
		preview.setWrench(tool)
		return []proto.Message{&pb.WrenchSet{Wrench: tool}}, &pb.SetWrenchResponse{Wrench: preview.wrenches[tool.GetName()].render()}, nil
	}
	now := known.render()
	if differs(tool.GetCalibratedAt(), now.GetCalibratedAt()) || differs(tool.GetCalibrationDue(), now.GetCalibrationDue()) {
		return nil, nil, fault.New(fault.Precondition, "CALIBRATION_BY_CHECK", "the calibration of %s cannot be rewritten; record a new one as a check", tool.GetName()).
			With("wrench", tool.GetName())
	}
	tool.CalibratedAt, tool.CalibrationDue = now.GetCalibratedAt(), now.GetCalibrationDue()
	tool.Certificate = now.GetCertificate()
	preview := *known
	preview.tool = tool
	return []proto.Message{&pb.WrenchSet{Wrench: tool}}, &pb.SetWrenchResponse{Wrench: preview.render()}, nil
}

// differs tells whether a caller gives a time, and another one than is known.
func differs(told, known *timestamppb.Timestamp) bool {
	return told != nil && !proto.Equal(told, known)
}

func validWrench(w *pb.Wrench, now time.Time) error {
	f := fault.New(fault.Invalid, "WRENCH_INVALID", "the wrench cannot be registered like this; correct the named fields")
	if measuresTorque(w.GetKind()) {
		if w.GetMaxNm() <= w.GetMinNm() {
			f.WithField("wrench.max_nm", "must be above min_nm: give the range that the wrench is marked with")
		}
		if w.GetDeviationPercent() <= 0 {
			f.WithField("wrench.deviation_percent", "must be above 0: give the permissible deviation by ISO 6789-1, as in 4 or 6")
		}
	}
	if w.GetCalibratedAt() == nil && w.GetCalibrationDue() != nil {
		f.WithField("wrench.calibrated_at", "is missing beside calibration_due")
	}
	if w.GetCalibratedAt() != nil {
		at := w.GetCalibratedAt().AsTime()
		if at.After(now.Add(clockSkew)) {
			f.WithField("wrench.calibrated_at", "lies in the future")
		}
		if due := w.GetCalibrationDue(); due != nil && !due.AsTime().After(at) {
			f.WithField("wrench.calibration_due", "must be after calibrated_at")
		}
	}
	if len(f.Fields) > 0 {
		return f
	}
	return nil
}

func measuresTorque(k pb.WrenchKind) bool {
	switch k {
	case pb.WrenchKind_WRENCH_KIND_SETTING, pb.WrenchKind_WRENCH_KIND_INDICATING, pb.WrenchKind_WRENCH_KIND_TORQUE_ANGLE:
		return true
	case pb.WrenchKind_WRENCH_KIND_UNSPECIFIED, pb.WrenchKind_WRENCH_KIND_ANGLE, pb.WrenchKind_WRENCH_KIND_GUN:
	}
	return false
}

func decideRecordCheck(st *State, in sitelog.Input, req *pb.RecordWrenchCheckRequest) ([]proto.Message, *pb.RecordWrenchCheckResponse, error) {
	w, err := st.wrench(req.GetWrench())
	if err != nil {
		return nil, nil, err
	}
	if err := validCheck(w, in.Now, req); err != nil {
		return nil, nil, err
	}
	check := &pb.WrenchCheck{
		At: timestamppb.New(in.Now), Passed: true, TargetNm: req.GetTargetNm(), MeasuredNm: req.GetMeasuredNm(),
		By: in.Actor.Person, Certificate: req.GetCertificate(), Calibration: req.GetCalibration(),
	}
	if req.GetTargetNm() > 0 {
		check.Passed, _ = fastening.CheckPasses(req.GetTargetNm(), req.GetMeasuredNm(), w.tool.GetDeviationPercent()/100)
	}
	if check.GetCalibration() && check.GetPassed() {
		check.CalibrationDue = req.GetCalibrationDue()
		if check.GetCalibrationDue() == nil {
			check.CalibrationDue = timestamppb.New(in.Now.AddDate(0, calibrationMonths, 0))
		}
	}
	events := []proto.Message{&pb.WrenchChecked{Wrench: req.GetWrench(), Check: check}}
	resp := &pb.RecordWrenchCheckResponse{}
	if !check.GetPassed() {
		made := st.lookBack(w, check)
		resp.LookBack = lookBackOf(made)
		events = append(events, made...)
	}
	preview := *w
	preview.checks = slices.Clone(w.checks)
	preview.check(check)
	resp.Wrench = preview.render()
	return events, resp, nil
}

// lookBackOf finds the list among what a failed check brings about.
func lookBackOf(events []proto.Message) *pb.LookBack {
	for _, m := range events {
		if made, ok := m.(*pb.LookBackMade); ok {
			return made.GetLookBack()
		}
	}
	return nil
}

func validCheck(w *wrench, now time.Time, req *pb.RecordWrenchCheckRequest) error {
	f := fault.New(fault.Invalid, "CHECK_INVALID", "the check cannot be recorded like this; correct the named fields")
	torque := measuresTorque(w.tool.GetKind())
	switch {
	case w.tool.GetKind() == pb.WrenchKind_WRENCH_KIND_GUN:
		f.WithField("wrench", "is a gun, which proves nothing and is not checked")
	case torque && req.GetTargetNm() == 0 && !req.GetCalibration():
		f.WithField("target_nm", "must be above 0: what the wrench was set to or showed")
	case torque && req.GetTargetNm() == 0 && req.GetCertificate() == "":
		f.WithField("certificate", "is needed for a calibration without measured values")
	case !torque && req.GetTargetNm() > 0:
		f.WithField("target_nm", "must be 0: this tool does not measure torque")
	}
	if due := req.GetCalibrationDue(); due != nil && !due.AsTime().After(now) {
		f.WithField("calibration_due", "must lie in the future")
	}
	if len(f.Fields) > 0 {
		return f
	}
	return nil
}
