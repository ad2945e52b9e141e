package torqueaudit

import (
	"math"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"
	"pgregory.net/rapid"

	pb "ramprow/proto/ramprow/torque_audit/v1"
)

// wake fires what is due, as the log's timer does.
func (s *site) wake() []proto.Message {
	s.t.Helper()
	at, pending := due(s.state)
	if !pending || at.After(s.now) {
		return nil
	}
	events, err := fire(s.state, s.as(""))
	if err != nil {
		s.t.Fatal(err)
	}
	s.commit(events)
	if next, again := due(s.state); again && !next.After(s.now) {
		s.t.Fatalf("still due at %s", next)
	}
	return events
}

func TestReminders(t *testing.T) {
	s := newSite(t)
	w := torqueAngleWrench()
	w.CalibrationDue = timestamppb.New(noon.AddDate(0, 0, 40))
	s.register(w)
	step := func(days int, want ...bool) {
		t.Helper()
		s.now = noon.AddDate(0, 0, days)
		events := s.wake()
		if len(events) != len(want) {
			t.Fatalf("on day %d: %v", days, events)
		}
		for i, m := range events {
			if r := m.(*pb.WrenchReminded); r.GetOverdue() != want[i] || r.GetWrench() != bigWrench {
				t.Errorf("on day %d: %v", days, r)
			}
		}
	}
	step(9)
	step(10, false) // 30 days before
	step(39)
	step(40, true)
	step(400)
	accepted(s, "ada", decideRecordCheck, &pb.RecordWrenchCheckRequest{
		Wrench: bigWrench, TargetNm: 100, MeasuredNm: 100, Calibration: true, CalibrationDue: timestamppb.New(noon.AddDate(0, 0, 405)),
	})
	step(400, false) // the next one is due within 30 days already
	step(405, true)
	retired := proto.CloneOf(s.state.wrenches[bigWrench].tool)
	retired.Retired, retired.CalibratedAt, retired.CalibrationDue = true, nil, nil
	accepted(s, "ada", decideSetWrench, &pb.SetWrenchRequest{Wrench: retired})
	step(900)
}

// TestRemindersComeOncePerDate: whatever the register does, each due date is
// reminded of at most twice, in order, and none is forgotten. A date that is set
// once more after another one counts anew.
func TestRemindersComeOncePerDate(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		s := newSite(t)
		said, ever := map[string]int{}, map[string]bool{}
		for range rapid.IntRange(1, 40).Draw(r, "steps") {
			s.now = s.now.Add(time.Duration(rapid.IntRange(1, 60*24).Draw(r, "hours")) * time.Hour)
			name := rapid.SampledFrom([]string{"wrenches/a", "wrenches/b"}).Draw(r, "wrench")
			dueOf := func() (due time.Time) {
				if w := s.state.wrenches[name]; w != nil {
					due = w.calibrationDue()
				}
				return due
			}
			before := dueOf()
			switch rapid.IntRange(0, 3).Draw(r, "what") {
			case 0:
				w := torqueAngleWrench()
				w.Name = name
				_, _ = do(s, "ada", decideSetWrench, &pb.SetWrenchRequest{Wrench: w})
			case 1:
				due := s.now.AddDate(0, 0, rapid.IntRange(1, 100).Draw(r, "days"))
				_, _ = do(s, "ada", decideRecordCheck, &pb.RecordWrenchCheckRequest{
					Wrench: name, TargetNm: 100, MeasuredNm: 100, Calibration: true, CalibrationDue: timestamppb.New(due),
				})
			}
			if due := dueOf(); !due.Equal(before) {
				delete(said, name+due.String())
			}
			for _, m := range s.wake() {
				e := m.(*pb.WrenchReminded)
				key := e.GetWrench() + e.GetDueAt().AsTime().String()
				if e.GetOverdue() != !s.now.Before(e.GetDueAt().AsTime()) {
					r.Fatalf("at %s: %v", s.now, e)
				}
				ever[key] = true
				if said[key]++; said[key] > 2 {
					r.Fatalf("reminded again: %v", e)
				}
			}
			for name, w := range s.state.wrenches {
				if at := w.calibrationDue(); !at.IsZero() && at.Add(-remindBefore).Before(s.now) && !ever[name+at.String()] {
					r.Fatalf("%s is due on %s, and nobody was told", name, at)
				}
			}
		}
	})
}

func TestWhatIsDue(t *testing.T) {
	good := torqueAngleWrench()
	failed := proto.CloneOf(good)
	failed.LastCheck = &pb.WrenchCheck{Passed: false}
	tired := proto.CloneOf(good)
	tired.Cycles = 5000 // ISO 6789 default interval (2003 edition, secondary reading)
	bare := proto.CloneOf(good)
	bare.CalibrationDue = nil
	retired := proto.CloneOf(failed)
	retired.Retired = true
	for _, c := range []struct {
		name    string
		wrench  *pb.Wrench
		listed  bool
		overdue bool
	}{
		{"calibrated", good, true, false},
		{"failed", failed, true, true},
		{"worn by use", tired, true, true},
		{"never calibrated", bare, true, true},
		{"retired", retired, false, false},
		{"a gun", &pb.Wrench{Kind: pb.WrenchKind_WRENCH_KIND_GUN}, false, false},
		{"an angle gauge", &pb.Wrench{Kind: pb.WrenchKind_WRENCH_KIND_ANGLE}, false, false},
	} {
		if listed := dueOrder(c.wrench) != ""; listed != c.listed || listed && dueOf(c.wrench, noon).GetOverdue() != c.overdue {
			t.Errorf("%s: listed %v, %v", c.name, listed, dueOf(c.wrench, noon))
		}
	}
}

// TestAdapterReading: a crow-foot of 50 mm on a lever of 450 mm, straight on,
// brings 500/450 of what the wrench shows; across it brings the same. The
// formula is common practice; the engine's own test holds its table.
func TestAdapterReading(t *testing.T) {
	straight := &pb.Adapter{LeverMm: 450, ReachMm: 50}
	s := started(t, cover())
	next, err := withSetting(s.state.sheets[job1].nextTurn("cover"), straight)
	if err != nil || math.Abs(next.GetSettingNm()-9) > 1e-12 {
		t.Fatalf("next %v, %v", next, err)
	}
	r := posted(s, &pb.PostReadingRequest{Job: job1, Joint: "cover", Fastener: 1, Wrench: bigWrench, TorqueNm: 9, Adapter: straight})
	if got := r.GetReading(); !got.GetCounts() || math.Abs(got.GetTorqueNm()-10) > 1e-12 || got.GetSettingNm() != 9 || got.GetAdapter() == nil {
		t.Errorf("reading %v", got)
	}
	if math.Abs(r.GetNext().GetSettingNm()-9) > 1e-12 {
		t.Errorf("next %v", r.GetNext())
	}
	across := &pb.Adapter{LeverMm: 450, ReachMm: 50, AngleDeg: 90}
	if got := posted(s, &pb.PostReadingRequest{Job: job1, Joint: "cover", Fastener: 2, Wrench: bigWrench, TorqueNm: 10, Adapter: across}); !got.GetReading().GetCounts() {
		t.Errorf("across %v", got.GetReading())
	}
	// 5 to 200 N·m at the drive are 2.5 to 100 at a fastener that lies half way back.
	back := &pb.Adapter{LeverMm: 400, ReachMm: 200, AngleDeg: 180}
	s.tighten("cover")
	err = refused(s, &pb.PostReadingRequest{Job: job1, Joint: "cover", Fastener: 1, Wrench: bigWrench, TorqueNm: 10, Adapter: &pb.Adapter{LeverMm: 100, ReachMm: 200, AngleDeg: 180}})
	wantReason(t, err, "ADAPTER_UNUSABLE")
	hand, err := s.state.wrenches[bigWrench].with(back)
	if err != nil || math.Abs(hand.tool.MaxNM-100) > 1e-9 {
		t.Errorf("range %v, %v", hand.tool.MaxNM, err)
	}
}

func TestResiduals(t *testing.T) {
	s := started(t, cover())
	s.complete("cover")
	ask := func(change func(*pb.RecordResidualRequest)) (*pb.RecordResidualResponse, error) {
		req := &pb.RecordResidualRequest{Job: job1, Joint: "cover", Fastener: 1, Wrench: bigWrench, Method: pb.ResidualMethod_RESIDUAL_METHOD_ON, TorqueNm: 11}
		change(req)
		return do(s, "ada", decideResidual, req)
	}
	plain, err := ask(func(*pb.RecordResidualRequest) {})
	if err != nil || plain.GetResidual().GetVerdict() != pb.Verdict_VERDICT_UNSPECIFIED || plain.GetSheetState() != pb.SheetState_SHEET_STATE_COMPLETE {
		t.Fatalf("without limits %v, %v", plain, err)
	}
	for name, c := range map[string]struct {
		change func(*pb.RecordResidualRequest)
		reason string
	}{
		"no such bolt":    {func(r *pb.RecordResidualRequest) { r.Fastener = 3 }, "RESIDUAL_INVALID"},
		"no such joint":   {func(r *pb.RecordResidualRequest) { r.Joint = "none" }, "JOINT_NOT_FOUND"},
		"no such wrench":  {func(r *pb.RecordResidualRequest) { r.Wrench = "wrenches/none" }, "WRENCH_NOT_FOUND"},
		"nobody's limits": {func(r *pb.RecordResidualRequest) { r.LowNm = 9 }, "RESIDUAL_INVALID"},
		"limits reversed": {func(r *pb.RecordResidualRequest) { r.LowNm, r.HighNm, r.LimitSource = 9, 8, "manual" }, "RESIDUAL_INVALID"},
		"no number":       {func(r *pb.RecordResidualRequest) { r.TorqueNm = math.NaN() }, "RESIDUAL_INVALID"},
		"in the future":   {func(r *pb.RecordResidualRequest) { r.At = timestamppb.New(s.now.Add(time.Hour)) }, "READING_IN_FUTURE"},
	} {
		before := len(s.log)
		if _, err := ask(c.change); len(s.log) != before {
			t.Errorf("%s: something was kept", name)
		} else {
			wantReason(t, err, c.reason)
		}
	}
	held, err := ask(func(r *pb.RecordResidualRequest) { r.LowNm, r.HighNm, r.LimitSource = 9, 14, "repair manual 4.2" })
	if err != nil || held.GetResidual().GetVerdict() != pb.Verdict_VERDICT_CONFORMS || held.GetResidual().GetNumber() != 2 {
		t.Errorf("with limits %v, %v", held, err)
	}
	low, err := ask(func(r *pb.RecordResidualRequest) { r.TorqueNm, r.LowNm, r.LimitSource = 6, 9, "repair manual 4.2" })
	if err != nil || low.GetSheetState() != pb.SheetState_SHEET_STATE_REOPENED {
		t.Errorf("too little %v, %v", low, err)
	}
	s.complete("cover")
	loosened, err := ask(func(r *pb.RecordResidualRequest) { r.Method = pb.ResidualMethod_RESIDUAL_METHOD_OFF })
	if err != nil || loosened.GetSheetState() != pb.SheetState_SHEET_STATE_REOPENED {
		t.Errorf("loosened %v, %v", loosened, err)
	}
	r, _, _ := s.proved()
	if len(r.Result.Residuals) != 4 || r.Result.Residuals[3].Method != "first movement when loosening" {
		t.Errorf("on the record %+v", r.Result.Residuals)
	}
}
