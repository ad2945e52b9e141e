package torqueaudit

import (
	"cmp"
	"context"
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/engine/fastening/record"
	"ramprow/internal/platform/command"
	"ramprow/internal/platform/fault"
	pb "ramprow/proto/ramprow/torque_audit/v1"
)

// GetTighteningRecord gives the record for the customer.
func (s *Server) GetTighteningRecord(ctx context.Context, req *pb.GetTighteningRecordRequest) (*pb.GetTighteningRecordResponse, error) {
	who, err := command.Caller(ctx)
	if err != nil {
		return nil, err
	}
	sheet, err := s.read(ctx, req.GetJob(), req.GetMinRevision())
	if err != nil {
		return nil, err
	}
	revealed, _ := s.keys.Reveal(ctx, who.Site, sheet).(*pb.Sheet) // bytes are not opened on their way out
	r := recordOf(who.Site, revealed)
	sealed, err := record.Seal(r)
	if err != nil {
		return nil, fault.New(fault.Internal, "RECORD_UNSEALED", "the record of %s cannot be written", req.GetJob()).Because(err)
	}
	resp := &pb.GetTighteningRecordResponse{Json: sealed.JSON, Sum: sealed.Sum}
	if req.GetWithHtml() {
		if resp.Html, err = record.HTML(r, sealed); err != nil {
			return nil, fault.New(fault.Internal, "RECORD_UNPRINTED", "the page of %s cannot be written", req.GetJob()).Because(err)
		}
	}
	return resp, nil
}

// recordOf gives a sheet as it is handed out.
func recordOf(site string, sheet *pb.Sheet) record.Record {
	r := record.Record{
		Job: record.Job{
			Workshop: site, Job: sheet.GetJob(), Vehicle: sheet.GetVehicle(), VIN: sheet.GetVin(), Customer: sheet.GetCustomer(),
			Opened: sheet.GetOpenedAt().AsTime(),
		},
		Result: record.Result{
			State: enumWords(sheet.GetState().String(), "SHEET_STATE_"), Plan: sheet.GetPlanRevision(), Left: sheet.GetLeft(),
			Signed: sheet.GetSignedBy(), SignedAt: moment(sheet.GetSignedAt()), AsOf: sheet.GetUpdatedAt().AsTime(),
		},
	}
	if sheet.GetNotice() != "" {
		r.Result.Notices = append(r.Result.Notices, sheet.GetNotice())
	}
	r.Result.Notices = append(r.Result.Notices, record.MakersData)
	for _, j := range sheet.GetJoints() {
		r.Result.Joints = append(r.Result.Joints, jointRecord(j))
		for _, reading := range j.GetReadings() {
			r.Readings = append(r.Readings, readingRecord(reading))
		}
		for _, c := range j.GetCurves() {
			r.Result.Curves = append(r.Result.Curves, record.Curve{
				Joint: c.GetJoint(), Fastener: c.GetFastener(), Stage: c.GetStage(), Wrench: c.GetWrench(), At: c.GetAt().AsTime(), By: c.GetBy(),
				Samples: c.GetSamples(), Digest: c.GetDigest(), Remarks: c.GetRemarks(),
			})
		}
		for _, recheck := range j.GetRechecks() {
			r.Result.Rechecks = append(r.Result.Rechecks, recheckRecord(recheck))
		}
		for _, residual := range j.GetResiduals() {
			r.Result.Residuals = append(r.Result.Residuals, residualRecord(residual))
		}
	}
	slices.SortFunc(r.Readings, func(a, b record.Reading) int { return cmp.Compare(a.Number, b.Number) })
	return r
}

func jointRecord(j *pb.JointSheet) record.Joint {
	due := j.GetDue()
	out := record.Joint{
		Joint: due.GetJoint(), Title: due.GetTitle(), State: stateWords[j.GetState()], Fasteners: due.GetFasteners(),
		Thread: due.GetThread(), Class: due.GetPropertyClass(), Oiled: due.GetOiled(), UsedOnce: due.GetUsedOnce(),
		Soft: due.GetSoftGasket(), Rule: ruleOf(due.GetDecisionRule()).String(), Moved: j.GetMovedByRound(),
	}
	if track, _ := begin(due); track != nil {
		for _, s := range track.Joint().Stages {
			out.Stages = append(out.Stages, s.String())
		}
	}
	if p := j.GetPreload(); p != nil {
		out.Preload = &record.Preload{
			Low: p.GetLowN(), Mean: p.GetMeanN(), High: p.GetHighN(), Scatter: p.GetScatterPercent(), Method: p.GetMethod(), Basis: p.GetBasis(),
		}
	}
	out.Limit, out.Uses = due.GetUses(), j.GetUses()
	for _, n := range j.GetRenewals() {
		out.Renewals = append(out.Renewals, record.Renewal{Fasteners: n.GetFasteners(), By: n.GetBy(), At: n.GetAt().AsTime()})
	}
	if d := j.GetDeparture(); d != nil {
		out.Departure = &record.Departure{Reason: d.GetReason(), First: d.GetFirstPerson(), Second: d.GetSecondPerson(), At: d.GetAt().AsTime()}
	}
	return out
}

// readingRecord leaves out what may still change of a reading: that it was
// taken out is said by the correction, which comes later in the chain.
func readingRecord(r *pb.Reading) record.Reading {
	b := r.GetBasis()
	out := record.Reading{
		Number: r.GetNumber(), Joint: r.GetJoint(), Fastener: r.GetFastener(), Stage: r.GetStage(), Round: r.GetRound(),
		Torque: r.GetTorqueNm(), Angle: r.GetAngleDeg(), Moved: r.GetMoved(), At: r.GetAt().AsTime(), By: r.GetBy(), Wrench: r.GetWrench(),
		Verdict: enumWords(r.GetVerdict().String(), "VERDICT_"), Counts: r.GetCounts(), Reason: r.GetReason(), Risk: r.GetRisk(), TakesOut: r.GetTakesOut(),
		Basis: record.Basis{
			Asked: b.GetAsked(), TorqueLow: b.GetTorqueLowNm(), TorqueHigh: b.GetTorqueHighNm(), AngleLow: b.GetAngleLowDeg(),
			AngleHigh: b.GetAngleHighDeg(), TorqueFloor: b.GetTorqueFloorNm(), Rule: enumWords(b.GetRule().String(), "DECISION_RULE_"),
			Tool: b.GetWrenchTitle(), Deviation: b.GetDeviationPercent(), Certificate: b.GetCertificate(),
			Calibrated: moment(b.GetCalibratedAt()), Due: moment(b.GetCalibrationDue()), Checked: moment(b.GetLastCheckAt()),
		},
	}
	if a := r.GetAdapter(); a != nil {
		out.Adapter = &record.Adapter{Lever: a.GetLeverMm(), Reach: a.GetReachMm(), Angle: a.GetAngleDeg(), Setting: r.GetSettingNm()}
	}
	if r.GetGivenUnit() != "" {
		out.Given = &record.Given{Torque: r.GetGivenTorque(), Unit: r.GetGivenUnit()}
	}
	out.Use = r.GetUse()
	return out
}

func recheckRecord(r *pb.JointRecheck) record.Recheck {
	out := record.Recheck{
		Joint: r.GetJoint(), Title: r.GetTitle(), Number: r.GetNumber(), State: enumWords(r.GetState().String(), "RECHECK_STATE_"), Says: r.GetSays(),
		Asked: r.GetAskedAt().AsTime(), Due: moment(r.GetDueAt()), Torque: r.GetTorqueNm(), Ended: moment(r.GetEndedAt()),
		By: r.GetEndedBy(), Reason: r.GetReason(), Odometer: r.GetDoneOdometerKm(),
	}
	for _, try := range r.GetReadings() {
		out.Tries = append(out.Tries, readingRecord(try))
	}
	return out
}

// methodWords say how a tight fastener was asked what it holds.
var methodWords = map[pb.ResidualMethod]string{
	pb.ResidualMethod_RESIDUAL_METHOD_ON:   "first movement when tightening on",
	pb.ResidualMethod_RESIDUAL_METHOD_OFF:  "first movement when loosening",
	pb.ResidualMethod_RESIDUAL_METHOD_MARK: "marked, loosened, brought back to the mark",
}

func residualRecord(r *pb.Residual) record.Residual {
	return record.Residual{
		Joint: r.GetJoint(), Fastener: r.GetFastener(), Method: methodWords[r.GetMethod()], Torque: r.GetTorqueNm(), Wrench: r.GetWrench(),
		Low: r.GetLowNm(), High: r.GetHighNm(), Source: r.GetLimitSource(), Verdict: enumWords(r.GetVerdict().String(), "VERDICT_"),
		Reason: r.GetReason(), At: r.GetAt().AsTime(), By: r.GetBy(),
	}
}

// enumWords gives an enum's value as words, as in 'inside not proved'; none for
// a value that nobody set.
func enumWords(name, prefix string) string {
	words := strings.ToLower(strings.ReplaceAll(strings.TrimPrefix(name, prefix), "_", " "))
	if words == "unspecified" {
		return ""
	}
	return words
}

func moment(t *timestamppb.Timestamp) *time.Time {
	if t == nil {
		return nil
	}
	at := t.AsTime()
	return &at
}
