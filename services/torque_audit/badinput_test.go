package torqueaudit

import (
	"bytes"
	"math"
	"testing"
	"time"

	"buf.build/go/protovalidate"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/platform/fault"
	pb "ramprow/proto/ramprow/torque_audit/v1"
)

// bytes is the whole state as a snapshot holds it; equal states have equal bytes.
func (s *site) bytes() []byte {
	s.t.Helper()
	data, err := snapshot(s.state)()
	if err != nil {
		s.t.Fatal(err)
	}
	return data
}

// waiting is a site at which a cover is being tightened and a signed wheel is
// to be tried again.
func waiting(t testing.TB) *site {
	s := newSite(t)
	s.register(torqueAngleWrench())
	overdue := torqueAngleWrench()
	overdue.Name = "wrenches/overdue"
	overdue.CalibratedAt, overdue.CalibrationDue = timestamppb.New(noon.AddDate(-2, 0, 0)), timestamppb.New(noon.AddDate(0, 0, -1))
	s.register(overdue)
	s.hear(confirmed(1, cover(), wheel()))
	s.hear(stepStarted("close.cover"))
	s.hear(stepStarted("close.wheel"))
	s.complete("cover", "wheel")
	accepted(s, "ada", decideReopenSheet, &pb.ReopenSheetRequest{Job: job1, Joints: []string{"cover"}, Reason: "leaks"})
	s.now = s.now.Add(days)
	return s
}

// TestBadReadingsChangeNothing: each is refused with its reason, by the rules of
// the message or by the decision alone, and the state's bytes stay what they were.
func TestBadReadingsChangeNothing(t *testing.T) {
	type change func(*pb.PostReadingRequest)
	for _, c := range []struct {
		name   string
		change change
		reason string
		ruled  bool // refused by the rules of the message already
	}{
		{"torque that is no number", func(r *pb.PostReadingRequest) { r.TorqueNm = math.NaN() }, "READING_MALFORMED", true},
		{"infinite torque", func(r *pb.PostReadingRequest) { r.TorqueNm = math.Inf(1) }, "READING_MALFORMED", true},
		{"infinite torque below", func(r *pb.PostReadingRequest) { r.TorqueNm = math.Inf(-1) }, "READING_MALFORMED", true},
		{"negative torque", func(r *pb.PostReadingRequest) { r.TorqueNm = -10 }, "READING_MALFORMED", true},
		{"wrong unit", func(r *pb.PostReadingRequest) {
			r.TorqueNm, r.Torque = 0, &pb.GivenTorque{Value: 10, Unit: "bar"}
		}, "TORQUE_UNIT_UNKNOWN", false},
		{"a force for a torque", func(r *pb.PostReadingRequest) {
			r.TorqueNm, r.Torque = 0, &pb.GivenTorque{Value: 10, Unit: "lbf"}
		}, "TORQUE_UNIT_UNKNOWN", false},
		{"no unit", func(r *pb.PostReadingRequest) { r.TorqueNm, r.Torque = 0, &pb.GivenTorque{Value: 10} }, "TORQUE_UNIT_UNKNOWN", true},
		{"twice", func(r *pb.PostReadingRequest) { r.Torque = &pb.GivenTorque{Value: 7.4, Unit: "lbf·ft"} }, "TORQUE_TWICE", false},
		{"no number in a unit", func(r *pb.PostReadingRequest) {
			r.TorqueNm, r.Torque = 0, &pb.GivenTorque{Value: math.NaN(), Unit: "lbf·ft"}
		}, "READING_MALFORMED", true},
		{"negative in a unit", func(r *pb.PostReadingRequest) {
			r.TorqueNm, r.Torque = 0, &pb.GivenTorque{Value: -1, Unit: "kgf·m"}
		}, "READING_MALFORMED", true},
		{"more than a hand gives", func(r *pb.PostReadingRequest) {
			r.TorqueNm, r.Torque = 0, &pb.GivenTorque{Value: 1e6, Unit: "kgf·m"}
		}, "READING_MALFORMED", false},
		{"wrench unknown", func(r *pb.PostReadingRequest) { r.Wrench = "wrenches/none" }, "WRENCH_NOT_FOUND", false},
		{"a bolt that does not exist", func(r *pb.PostReadingRequest) { r.Fastener = 3 }, "READING_MALFORMED", false},
		{"a bolt before the first", func(r *pb.PostReadingRequest) { r.Fastener = 0 }, "READING_MALFORMED", true},
		{"the last bolt there can be", func(r *pb.PostReadingRequest) { r.Fastener = math.MaxUint32 }, "READING_MALFORMED", true},
		{"in the future", func(r *pb.PostReadingRequest) { r.At = timestamppb.New(noon.Add(days + time.Hour)) }, "READING_IN_FUTURE", false},
		{"a time that is none", func(r *pb.PostReadingRequest) { r.At = &timestamppb.Timestamp{Seconds: math.MaxInt64} }, "READING_MALFORMED", false},
		{"an adapter of no length", func(r *pb.PostReadingRequest) { r.Adapter = &pb.Adapter{ReachMm: 50} }, "ADAPTER_UNUSABLE", true},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := waiting(t)
			before := s.bytes()
			req := &pb.PostReadingRequest{RequestId: "reading-1", Job: job1, Joint: "cover", Fastener: 1, Wrench: bigWrench, TorqueNm: 10}
			c.change(req)
			err := refused(s, req)
			wantReason(t, err, c.reason)
			if ruled := protovalidate.Validate(req) != nil; ruled != c.ruled {
				t.Errorf("the message's own rules refuse it: %v, want %v", ruled, c.ruled)
			}
			if !bytes.Equal(before, s.bytes()) {
				t.Error("the state changed")
			}
			if req.GetStage() != 0 || req.GetAngleDeg() != 0 {
				return
			}
			// The same of a joint that is tried again, where a refusal is the same.
			try := &pb.PostRecheckReadingRequest{
				Job: job1, Joint: "wheel", Fastener: req.GetFastener(), Wrench: req.GetWrench(), TorqueNm: req.GetTorqueNm(),
				At: req.GetAt(), Adapter: req.GetAdapter(), Torque: req.GetTorque(),
			}
			_, err = do(s, "ada", decideRecheckReading, try)
			wantReason(t, err, c.reason)
			if !bytes.Equal(before, s.bytes()) {
				t.Error("the state changed by a re-check")
			}
		})
	}
}

// TestAWrenchThatIsDueProvesNothing: its reading is evidence, so it is kept with
// its reason; nothing else changes: the same bolt is still due, at sheet and re-check.
func TestAWrenchThatIsDueProvesNothing(t *testing.T) {
	s := waiting(t)
	sh := s.state.sheets[job1]
	next, left := proto.CloneOf(sh.nextTurn("")), sh.left()
	r := posted(s, &pb.PostReadingRequest{Job: job1, Joint: "cover", Fastener: 1, Wrench: "wrenches/overdue", TorqueNm: 10}).GetReading()
	if r.GetCounts() || r.GetReason() != "the calibration of Big wrench was due on 1 March 2026; have it calibrated or take another wrench" {
		t.Errorf("judged %v", r)
	}
	if !proto.Equal(next, sh.nextTurn("")) || len(left) != len(sh.left()) {
		t.Errorf("next %v, left %v", sh.nextTurn(""), sh.left())
	}
	try := accepted(s, "ada", decideRecheckReading, &pb.PostRecheckReadingRequest{Job: job1, Joint: "wheel", Fastener: 1, Wrench: "wrenches/overdue", TorqueNm: 120})
	if try.GetReading().GetCounts() || len(untried(try.GetRecheck())) != 2 {
		t.Errorf("tried %v", try)
	}
}

// TestUnits: the factors are those of NIST SP 811 (exact: 1.3558179483314004,
// 0.1129848290276167, 9.80665); what was given is kept beside it.
func TestUnits(t *testing.T) {
	for _, c := range []struct {
		value  float64
		unit   string
		torque float64
	}{
		{7.4, "lbf·ft", 7.4 * 1.3558179483314004},
		{88.5, "lbf·in", 88.5 * 0.1129848290276167},
		{88.5, "in-lb", 88.5 * 0.1129848290276167},
		{1.02, "kgf·m", 1.02 * 9.80665},
		{102, "kgf·cm", 102 * 0.0980665},
		{1400, "ozf·in", 1400 * 0.00706155181422604375},
		{10, "N·m", 10},
	} {
		s := waiting(t)
		r := posted(s, &pb.PostReadingRequest{
			Job: job1, Joint: "cover", Fastener: 1, Wrench: bigWrench, Torque: &pb.GivenTorque{Value: c.value, Unit: c.unit},
		}).GetReading()
		if math.Abs(r.GetTorqueNm()-c.torque) > 1e-12*c.torque || r.GetGivenTorque() != c.value || r.GetGivenUnit() != c.unit || !r.GetCounts() {
			t.Errorf("%g %s: %v", c.value, c.unit, r)
		}
	}
}

// TestSheetsAreBounded: what comes beyond is refused, and nothing is dropped for it.
func TestSheetsAreBounded(t *testing.T) {
	s := waiting(t)
	keep := func(fastener uint32) error {
		_, err := do(s, "ada", decideCurve, &pb.KeepCurve{Job: job1, Curve: &pb.Curve{Joint: "cover", Fastener: fastener, Wrench: bigWrench}})
		return err
	}
	for range maxCurvesPerFastener {
		if err := keep(1); err != nil {
			t.Fatal(err)
		}
	}
	before := s.bytes()
	wantReason(t, keep(1), "CURVES_FULL")
	if !bytes.Equal(before, s.bytes()) {
		t.Error("a curve was dropped or kept")
	}
	if err := keep(2); err != nil {
		t.Error(err)
	}
	j := s.state.sheets[job1].find("cover")
	for range maxCurvesPerSheet {
		j.curves = append(j.curves, &pb.Curve{Fastener: 1})
	}
	wantReason(t, keep(2), "CURVES_FULL")
	held := &pb.RecordResidualRequest{Job: job1, Joint: "cover", Fastener: 1, Wrench: bigWrench, TorqueNm: 10, Method: pb.ResidualMethod_RESIDUAL_METHOD_ON}
	for range maxResidualsPerFastener {
		accepted(s, "ada", decideResidual, held)
	}
	_, err := do(s, "ada", decideResidual, held)
	wantReason(t, err, "RESIDUALS_FULL")
	s.state.sheets[job1].readings = maxReadingsPerSheet
	wantReason(t, refused(s, &pb.PostReadingRequest{Job: job1, Joint: "cover", Fastener: 1, Wrench: bigWrench, TorqueNm: 10}), "READINGS_FULL")
}

// FuzzReadingMessages decodes any bytes as a reading of a tightening or of a
// re-check. Whether the message's own rules let it through or not, the decision
// never panics; what it refuses changes nothing, and what it takes is whole.
func FuzzReadingMessages(f *testing.F) {
	for _, m := range []proto.Message{
		&pb.PostReadingRequest{RequestId: "reading-1", Job: job1, Joint: "cover", Fastener: 1, Wrench: bigWrench, TorqueNm: 10, Moved: true},
		&pb.PostReadingRequest{RequestId: "reading-2", Job: job1, Joint: "cover", Fastener: 2, Stage: 1, Wrench: bigWrench, Torque: &pb.GivenTorque{Value: 7.4, Unit: "lbf·ft"}},
		&pb.PostReadingRequest{Job: job1, Joint: "wheel", Fastener: 9, Wrench: "wrenches/none", TorqueNm: math.NaN(), AngleDeg: math.Inf(-1), At: &timestamppb.Timestamp{Nanos: -1}},
		&pb.PostRecheckReadingRequest{RequestId: "reading-3", Job: job1, Joint: "wheel", Fastener: 1, Wrench: bigWrench, TorqueNm: 120, OdometerKm: 90_060},
		&pb.PostRecheckReadingRequest{Job: job1, Joint: "wheel", Fastener: 2, Wrench: bigWrench, TorqueNm: 120, Adapter: &pb.Adapter{LeverMm: 1, ReachMm: 1, AngleDeg: 180}},
	} {
		data, err := proto.Marshal(m)
		if err != nil {
			f.Fatal(err)
		}
		_, again := m.(*pb.PostRecheckReadingRequest)
		f.Add(data, again)
	}
	f.Fuzz(func(t *testing.T, data []byte, again bool) {
		s := waiting(t)
		before := s.bytes()
		reading, err := s.send(data, again)
		if err != nil {
			if fault.ReasonOf(err) == "" || fault.KindOf(err) == fault.Internal {
				t.Fatalf("refused without a reason: %v", err)
			}
			if !bytes.Equal(before, s.bytes()) {
				t.Fatalf("refused, and the state changed: %v", err)
			}
			return
		}
		if reading == nil {
			return // no message at all
		}
		torque := reading.GetTorqueNm()
		if !(torque >= 0) || math.IsInf(torque, 0) || reading.GetFastener() < 1 || reading.GetFastener() > 2 || reading.GetReason() == "" || reading.GetVerdict() == 0 {
			t.Fatalf("kept %v", reading)
		}
		if bytes.Equal(before, s.bytes()) {
			t.Fatal("taken, and nothing changed")
		}
	})
}

// send decodes a message and decides it, whatever its own rules say; neither a
// reading nor an error: it is no message.
func (s *site) send(data []byte, again bool) (*pb.Reading, error) {
	if again {
		req := &pb.PostRecheckReadingRequest{}
		if proto.Unmarshal(data, req) != nil {
			return nil, nil //nolint:nilerr // no message at all
		}
		_ = protovalidate.Validate(req) // must not panic either
		resp, err := do(s, "ada", decideRecheckReading, req)
		return resp.GetReading(), err
	}
	req := &pb.PostReadingRequest{}
	if proto.Unmarshal(data, req) != nil {
		return nil, nil //nolint:nilerr // no message at all
	}
	_ = protovalidate.Validate(req)
	resp, err := do(s, "ada", decidePostReading, req)
	return resp.GetReading(), err
}
