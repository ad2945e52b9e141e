package torqueaudit

import (
	"math"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "ramprow/proto/ramprow/torque_audit/v1"
)

func TestTighteningToTheSignature(t *testing.T) {
	s := started(t, cover())
	first := posted(s, &pb.PostReadingRequest{Job: job1, Joint: "cover", Fastener: 1, Wrench: bigWrench, TorqueNm: 10, Moved: true})
	if r := first.GetReading(); !r.GetCounts() || r.GetVerdict() != pb.Verdict_VERDICT_CONFORMS || r.GetNumber() != 1 || r.GetBy() != "ada" {
		t.Fatalf("first reading %v", r)
	}
	if n := first.GetNext(); n.GetFastener() != 2 || n.GetSay() != "bolt 2: 10 N·m (9 to 11), stage 1 of 1" {
		t.Fatalf("next %v", n)
	}
	_, err := do(s, "ada", decideSignSheet, &pb.SignSheetRequest{Job: job1})
	wantReason(t, err, "JOINTS_NOT_PROVED")
	second := posted(s, s.ideal("cover"))
	if !second.GetJointProved() || second.GetSheetState() != pb.SheetState_SHEET_STATE_TO_SIGN || second.GetNext() != nil {
		t.Fatalf("last reading %v", second)
	}
	signed := accepted(s, "ada", decideSignSheet, &pb.SignSheetRequest{Job: job1})
	if sh := signed.GetSheet(); sh.GetState() != pb.SheetState_SHEET_STATE_COMPLETE || sh.GetSignedBy() != "ada" || len(sh.GetLeft()) != 0 {
		t.Fatalf("signed sheet %v", sh)
	}
	last, ok := s.log[len(s.log)-1].(*pb.SheetCompleted)
	if !ok || last.GetPlanRevision() != 1 || last.GetJoints() != 1 {
		t.Fatalf("last event %v", s.log[len(s.log)-1])
	}
	_, err = do(s, "ada", decideSignSheet, &pb.SignSheetRequest{Job: job1})
	wantReason(t, err, "SHEET_COMPLETE")
}

// TestKeptButProvesNothing: such a reading stands in the sheet with its reason
// and moves nothing on.
func TestKeptButProvesNothing(t *testing.T) {
	gun := &pb.Wrench{Name: "wrenches/gun", Title: "Gun", Kind: pb.WrenchKind_WRENCH_KIND_GUN}
	small := torqueAngleWrench()
	small.Name, small.MinNm, small.MaxNm = "wrenches/small", 1, 8
	overdue := torqueAngleWrench()
	overdue.Name = "wrenches/overdue"
	overdue.CalibratedAt, overdue.CalibrationDue = timestamppb.New(noon.AddDate(-2, 0, 0)), timestamppb.New(noon.AddDate(0, 0, -1))
	retired := torqueAngleWrench()
	retired.Name, retired.Retired = "wrenches/retired", true
	fresh := torqueAngleWrench()
	fresh.Name, fresh.CalibratedAt, fresh.CalibrationDue = "wrenches/fresh", nil, nil
	for _, c := range []struct {
		name     string
		wrench   string
		fastener uint32
		torque   float64
		verdict  pb.Verdict
	}{
		{"a gun", "wrenches/gun", 1, 10, pb.Verdict_VERDICT_INSIDE_NOT_PROVED},
		{"out of the wrench's range", "wrenches/small", 1, 10, pb.Verdict_VERDICT_INSIDE_NOT_PROVED},
		{"calibration overdue", "wrenches/overdue", 1, 10, pb.Verdict_VERDICT_INSIDE_NOT_PROVED},
		{"retired", "wrenches/retired", 1, 10, pb.Verdict_VERDICT_INSIDE_NOT_PROVED},
		{"never calibrated", "wrenches/fresh", 1, 10, pb.Verdict_VERDICT_INSIDE_NOT_PROVED},
		{"out of order", bigWrench, 2, 10, pb.Verdict_VERDICT_CONFORMS},
		{"inside, within the wrench's doubt", bigWrench, 1, 10.9, pb.Verdict_VERDICT_INSIDE_NOT_PROVED},
		{"outside, within the wrench's doubt", bigWrench, 1, 11.2, pb.Verdict_VERDICT_OUTSIDE_NOT_PROVED},
		{"outside for sure", bigWrench, 1, 13, pb.Verdict_VERDICT_DOES_NOT_CONFORM},
		{"nothing", bigWrench, 1, 0, pb.Verdict_VERDICT_OUTSIDE_NOT_PROVED},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := started(t, cover())
			for _, w := range []*pb.Wrench{gun, small, overdue, retired, fresh} {
				s.register(w)
			}
			resp := posted(s, &pb.PostReadingRequest{Job: job1, Joint: "cover", Fastener: c.fastener, Wrench: c.wrench, TorqueNm: c.torque})
			r := resp.GetReading()
			if r.GetCounts() || r.GetVerdict() != c.verdict || r.GetReason() == "" {
				t.Fatalf("judged %v", r)
			}
			if n := resp.GetNext(); n.GetFastener() != 1 || n.GetStage() != 1 {
				t.Errorf("next is %v, want bolt 1 still", n)
			}
			if kept := s.state.sheets[job1].find("cover").readings; len(kept) != 1 {
				t.Errorf("%d readings kept, want 1", len(kept))
			}
		})
	}
}

// TestRefusedReadings: what is malformed or comes at no time changes nothing.
func TestRefusedReadings(t *testing.T) {
	ok := &pb.PostReadingRequest{Job: job1, Joint: "cover", Fastener: 1, Wrench: bigWrench, TorqueNm: 10}
	for _, c := range []struct {
		name   string
		change func(*pb.PostReadingRequest)
		reason string
	}{
		{"not a number", func(r *pb.PostReadingRequest) { r.TorqueNm = math.NaN() }, "READING_MALFORMED"},
		{"infinite", func(r *pb.PostReadingRequest) { r.AngleDeg = math.Inf(1) }, "READING_MALFORMED"},
		{"negative", func(r *pb.PostReadingRequest) { r.TorqueNm = -10 }, "READING_MALFORMED"},
		{"no such bolt", func(r *pb.PostReadingRequest) { r.Fastener = 3 }, "READING_MALFORMED"},
		{"no such stage", func(r *pb.PostReadingRequest) { r.Stage = 2 }, "READING_MALFORMED"},
		{"no such wrench", func(r *pb.PostReadingRequest) { r.Wrench = "wrenches/none" }, "WRENCH_NOT_FOUND"},
		{"no such joint", func(r *pb.PostReadingRequest) { r.Joint = "none" }, "JOINT_NOT_FOUND"},
		{"no such job", func(r *pb.PostReadingRequest) { r.Job = "jobs/9" }, "SHEET_NOT_FOUND"},
		{"in the future", func(r *pb.PostReadingRequest) { r.At = timestamppb.New(noon.Add(time.Hour)) }, "READING_IN_FUTURE"},
		{"no time at all", func(r *pb.PostReadingRequest) { r.At = &timestamppb.Timestamp{Nanos: -1} }, "READING_MALFORMED"},
		{"step not begun", func(r *pb.PostReadingRequest) { r.Joint = "head" }, "JOINT_NOT_READY"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := newSite(t)
			s.register(torqueAngleWrench())
			s.hear(confirmed(1, cover(), head()))
			s.hear(stepStarted("close.cover"))
			before := s.state.sheets[job1].render()
			req := proto.CloneOf(ok)
			c.change(req)
			err := refused(s, req)
			wantReason(t, err, c.reason)
			if after := s.state.sheets[job1].render(); !proto.Equal(before, after) {
				t.Errorf("the sheet changed:\n%v\n%v", before, after)
			}
		})
	}
}

// TestLateReading: a terminal that was offline sends its own time, and the
// wrench is judged by that day.
func TestLateReading(t *testing.T) {
	s := started(t, cover())
	s.now = noon.AddDate(1, 0, 0)
	late := &pb.PostReadingRequest{Job: job1, Joint: "cover", Fastener: 1, Wrench: bigWrench, TorqueNm: 10, At: timestamppb.New(noon)}
	if r := posted(s, late).GetReading(); !r.GetCounts() {
		t.Errorf("in date when it was made, but: %s", r.GetReason())
	}
	now := &pb.PostReadingRequest{Job: job1, Joint: "cover", Fastener: 2, Wrench: bigWrench, TorqueNm: 10}
	if r := posted(s, now).GetReading(); r.GetCounts() {
		t.Error("a reading after the due date counts")
	}
}

func TestCorrection(t *testing.T) {
	s := started(t, cover())
	s.complete("cover")
	got := accepted(s, "ben", decideCorrectReading, &pb.CorrectReadingRequest{Job: job1, Number: 1, Reason: "wrong bolt"})
	s.wantState(pb.SheetState_SHEET_STATE_REOPENED)
	j := got.GetSheet().GetJoints()[0]
	if len(j.GetReadings()) != 3 || j.GetReadings()[0].GetCorrectedBy() != 3 || j.GetReadings()[2].GetBy() != "ben" {
		t.Fatalf("readings %v", j.GetReadings())
	}
	if j.GetReadings()[0].GetTorqueNm() != 10 {
		t.Error("the mistaken reading was overwritten")
	}
	_, err := do(s, "ben", decideCorrectReading, &pb.CorrectReadingRequest{Job: job1, Number: 1, Reason: "again"})
	wantReason(t, err, "READING_CORRECTED")
	_, err = do(s, "ben", decideCorrectReading, &pb.CorrectReadingRequest{Job: job1, Number: 3, Reason: "again"})
	wantReason(t, err, "READING_IS_CORRECTION")
	_, err = do(s, "ben", decideCorrectReading, &pb.CorrectReadingRequest{Job: job1, Number: 99, Reason: "again"})
	wantReason(t, err, "READING_NOT_FOUND")
	// Bolt 2 came out of order once bolt 1 is taken away, so both are done again.
	s.complete("cover")
}

// TestCorrectionOfNothing: taking out a reading that proved nothing leaves a
// complete sheet complete.
func TestCorrectionOfNothing(t *testing.T) {
	s := started(t, cover())
	posted(s, &pb.PostReadingRequest{Job: job1, Joint: "cover", Fastener: 2, Wrench: bigWrench, TorqueNm: 10})
	s.complete("cover")
	before := len(s.log)
	accepted(s, "ada", decideCorrectReading, &pb.CorrectReadingRequest{Job: job1, Number: 1, Reason: "typed by mistake"})
	if events := s.log[before:]; len(events) != 1 {
		t.Errorf("brought about %v", events)
	}
	s.wantState(pb.SheetState_SHEET_STATE_COMPLETE)
}
