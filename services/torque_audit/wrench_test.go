package torqueaudit

import (
	"slices"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	jobv1 "ramprow/proto/ramprow/job/v1"
	pb "ramprow/proto/ramprow/torque_audit/v1"
)

func TestRegisterRefuses(t *testing.T) {
	for _, c := range []struct {
		name   string
		change func(*pb.Wrench)
		reason string
	}{
		{"empty range", func(w *pb.Wrench) { w.MaxNm = w.GetMinNm() }, "WRENCH_INVALID"},
		{"no deviation", func(w *pb.Wrench) { w.DeviationPercent = 0 }, "WRENCH_INVALID"},
		{"calibrated tomorrow", func(w *pb.Wrench) { w.CalibratedAt = timestamppb.New(noon.AddDate(0, 0, 1)) }, "WRENCH_INVALID"},
		{"due before calibrated", func(w *pb.Wrench) { w.CalibrationDue = timestamppb.New(noon.AddDate(-1, 0, 0)) }, "WRENCH_INVALID"},
		{"due without calibration", func(w *pb.Wrench) { w.CalibratedAt = nil }, "WRENCH_INVALID"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := newSite(t)
			w := torqueAngleWrench()
			c.change(w)
			_, err := do(s, "ada", decideSetWrench, &pb.SetWrenchRequest{Wrench: w})
			wantReason(t, err, c.reason)
		})
	}
}

func TestRegister(t *testing.T) {
	s := newSite(t)
	w := torqueAngleWrench()
	w.CalibrationDue, w.Cycles = nil, 99
	got := accepted(s, "ada", decideSetWrench, &pb.SetWrenchRequest{Wrench: w}).GetWrench()
	// 12 months are the ISO 6789 default interval (2003 edition, secondary reading).
	if want := noon.AddDate(0, 11, 0); !got.GetCalibrationDue().AsTime().Equal(want) || got.GetCycles() != 0 {
		t.Fatalf("due %v with %d cycles, want %v with none", got.GetCalibrationDue().AsTime(), got.GetCycles(), want)
	}
	w = proto.CloneOf(got)
	w.Title = "Bigger wrench"
	if got = accepted(s, "ada", decideSetWrench, &pb.SetWrenchRequest{Wrench: w}).GetWrench(); got.GetTitle() != "Bigger wrench" || got.GetLastCheck() == nil {
		t.Errorf("renamed %v", got)
	}
	w.CalibrationDue = timestamppb.New(noon.AddDate(9, 0, 0))
	_, err := do(s, "ada", decideSetWrench, &pb.SetWrenchRequest{Wrench: w})
	wantReason(t, err, "CALIBRATION_BY_CHECK")
}

func TestChecks(t *testing.T) {
	s := newSite(t)
	s.register(torqueAngleWrench())
	s.register(&pb.Wrench{Name: "wrenches/gun", Title: "Gun", Kind: pb.WrenchKind_WRENCH_KIND_GUN})
	s.register(&pb.Wrench{Name: "wrenches/gauge", Title: "Gauge", Kind: pb.WrenchKind_WRENCH_KIND_ANGLE})
	for _, c := range []struct {
		name   string
		req    *pb.RecordWrenchCheckRequest
		reason string
	}{
		{"of a gun", &pb.RecordWrenchCheckRequest{Wrench: "wrenches/gun", TargetNm: 10, MeasuredNm: 10}, "CHECK_INVALID"},
		{"torque of an angle gauge", &pb.RecordWrenchCheckRequest{Wrench: "wrenches/gauge", TargetNm: 10, MeasuredNm: 10}, "CHECK_INVALID"},
		{"without a value", &pb.RecordWrenchCheckRequest{Wrench: bigWrench}, "CHECK_INVALID"},
		{"calibration without values or certificate", &pb.RecordWrenchCheckRequest{Wrench: bigWrench, Calibration: true}, "CHECK_INVALID"},
		{"due in the past", &pb.RecordWrenchCheckRequest{Wrench: bigWrench, TargetNm: 100, MeasuredNm: 100, Calibration: true, CalibrationDue: timestamppb.New(noon)}, "CHECK_INVALID"},
		{"of no known wrench", &pb.RecordWrenchCheckRequest{Wrench: "wrenches/none", TargetNm: 1, MeasuredNm: 1}, "WRENCH_NOT_FOUND"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := do(s, "ada", decideRecordCheck, c.req)
			wantReason(t, err, c.reason)
		})
	}
	// 96 at a setting of 100 is +4.17 % of the reference (ISO 6789-1), 104 is -3.85 %.
	bad := accepted(s, "ada", decideRecordCheck, &pb.RecordWrenchCheckRequest{Wrench: bigWrench, TargetNm: 100, MeasuredNm: 96}).GetWrench()
	if bad.GetLastCheck().GetPassed() {
		t.Error("96 at 100 passed")
	}
	s.now = noon.Add(time.Hour)
	good := accepted(s, "ada", decideRecordCheck, &pb.RecordWrenchCheckRequest{
		Wrench: bigWrench, TargetNm: 100, MeasuredNm: 104, Calibration: true, Certificate: "C-2",
	}).GetWrench()
	if !good.GetLastCheck().GetPassed() || good.GetCertificate() != "C-2" || !good.GetCalibrationDue().AsTime().Equal(s.now.AddDate(1, 0, 0)) {
		t.Errorf("calibrated %v", good)
	}
}

// TestLookBackMatchesBruteForce tightens joints of several jobs with two
// wrenches, then fails one: exactly the joints that a search over all readings
// finds are open again, in closed audits too.
func TestLookBackMatchesBruteForce(t *testing.T) {
	s := newSite(t)
	other := torqueAngleWrench()
	other.Name, other.Title = "wrenches/other", "Other wrench"
	s.register(torqueAngleWrench())
	s.register(other)
	jobs := []string{"jobs/1", "jobs/2", "jobs/3", "jobs/10"}
	for i, job := range jobs {
		c := confirmed(1, cover())
		c.Job = job
		s.hear(c)
		s.hear(&jobv1.StepStarted{Job: job, Step: "close.cover"})
		s.now = s.now.AddDate(0, 0, 1)
		for f, wrench := range [][]string{{bigWrench, bigWrench}, {"wrenches/other", "wrenches/other"}, {"wrenches/other", bigWrench}, {bigWrench, bigWrench}}[i] {
			posted(s, &pb.PostReadingRequest{Job: job, Joint: "cover", Fastener: uint32(f + 1), Wrench: wrench, TorqueNm: 10})
		}
		accepted(s, "ada", decideSignSheet, &pb.SignSheetRequest{Job: job})
		if i == 0 {
			s.now = s.now.AddDate(0, 0, 1)
			accepted(s, "ada", decideRecordCheck, &pb.RecordWrenchCheckRequest{Wrench: bigWrench, TargetNm: 100, MeasuredNm: 100})
		}
	}
	lastGood := noon.AddDate(0, 0, 2)
	var want []string
	for _, m := range s.log {
		if p, ok := m.(*pb.ReadingPosted); ok && p.GetReading().GetWrench() == bigWrench && p.GetReading().GetAt().AsTime().After(lastGood) && !slices.Contains(want, p.GetJob()) {
			want = append(want, p.GetJob())
		}
	}
	before := len(s.log)
	accepted(s, "ada", decideRecordCheck, &pb.RecordWrenchCheckRequest{Wrench: bigWrench, TargetNm: 100, MeasuredNm: 90})
	var got []string
	for _, m := range s.log[before:] {
		if r, ok := m.(*pb.SheetReopened); ok {
			got = append(got, r.GetJob())
		}
	}
	if !slices.Equal(got, want) || !slices.Equal(got, []string{"jobs/3", "jobs/10"}) {
		t.Fatalf("reopened %v, brute force finds %v", got, want)
	}
	for _, job := range jobs {
		reopened := s.state.sheets[job].state() == pb.SheetState_SHEET_STATE_REOPENED
		if reopened != slices.Contains(want, job) {
			t.Errorf("%s is %s", job, s.state.sheets[job].state())
		}
	}
	after := posted(s, &pb.PostReadingRequest{Job: "jobs/3", Joint: "cover", Fastener: 1, Wrench: bigWrench, TorqueNm: 10})
	if after.GetReading().GetCounts() {
		t.Error("a reading of the failed wrench counts")
	}
}
