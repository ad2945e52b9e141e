package torqueaudit

import (
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/readmodel/readmodeltest"
	"ramprow/internal/platform/sitelog"
	cataloguev1 "ramprow/proto/ramprow/catalogue/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	logv1 "ramprow/proto/ramprow/log/v1"
	pb "ramprow/proto/ramprow/torque_audit/v1"
)

var noon = time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)

const (
	job1      = "jobs/1"
	bigWrench = "wrenches/big"
)

// site is one site's state folded in memory, with a clock that a test sets.
type site struct {
	t     testing.TB
	state *State
	now   time.Time
	log   []proto.Message
	// events are the same with their times.
	events []sitelog.Event
	// numbered numbers events otherwise than by their place, if it is set.
	numbered func() uint64
}

func newSite(t testing.TB) *site {
	return &site{t: t, state: Machine().New("north"), now: noon}
}

func (s *site) as(person string) sitelog.Input {
	return sitelog.Input{Site: "north", Now: s.now, Actor: sitelog.Actor{Person: person}}
}

func (s *site) commit(events []proto.Message) {
	for _, m := range events {
		e := sitelog.Event{Message: m, Site: "north", Time: s.now, Number: uint64(len(s.events) + 1)}
		if s.numbered != nil {
			e.Number = s.numbered()
		}
		evolve(s.state, e)
		s.events = append(s.events, e)
	}
	s.log = append(s.log, events...)
}

// hear takes one event of the job's log.
func (s *site) hear(m proto.Message) []proto.Message {
	s.t.Helper()
	events, err := react(s.state, sitelog.Foreign{Service: "job", Message: m, Site: "north", Time: s.now}, s.as(""))
	if back := readmodeltest.Recall(s.t, s.events, err); back != nil {
		return s.again(back, func() []proto.Message { return s.hear(m) })
	}
	if err != nil {
		s.t.Fatalf("react to %T: %v", m, err)
	}
	s.commit(events)
	return events
}

// again brings something back and does what needed it. If that changes nothing,
// it was not brought back either.
func (s *site) again(back []proto.Message, do func() []proto.Message) []proto.Message {
	before := len(s.events)
	s.commit(back)
	events := do()
	if len(events) == 0 {
		m, _ := back[0].(*logv1.Recalled)
		s.log, s.events = s.log[:len(s.log)-1], s.events[:before]
		evolve(s.state, sitelog.Undo(&sitelog.ArchivedError{Name: m.GetName(), Commit: m.GetCommit()}, "north"))
	}
	return events
}

// wait lets time pass and fires what becomes due on the way.
func (s *site) wait(d time.Duration) {
	s.t.Helper()
	until := s.now.Add(d)
	for at, pending := due(s.state); pending && !at.After(until); at, pending = due(s.state) {
		if at.After(s.now) {
			s.now = at
		}
		events, err := fire(s.state, s.as(""))
		if err != nil || len(events) == 0 {
			s.t.Fatalf("due at %v, and fire says %v %v", at, events, err)
		}
		s.commit(events)
	}
	s.now = until
}

// do runs a decision of a person and commits it.
func do[Q, R any](s *site, person string, decide func(*State, sitelog.Input, Q) ([]proto.Message, R, error), req Q) (R, error) {
	events, resp, err := decide(s.state, s.as(person), req)
	if back := readmodeltest.Recall(s.t, s.events, err); back != nil {
		s.again(back, func() []proto.Message {
			before := len(s.events)
			resp, err = do(s, person, decide, req)
			return s.log[before:]
		})
		return resp, err
	}
	if err == nil {
		s.commit(events)
	}
	return resp, err
}

// accepted runs a decision that must not be refused.
func accepted[Q, R any](s *site, person string, decide func(*State, sitelog.Input, Q) ([]proto.Message, R, error), req Q) R {
	s.t.Helper()
	resp, err := do(s, person, decide, req)
	if err != nil {
		s.t.Fatal(err)
	}
	return resp
}

// posted posts a reading as ada.
func posted(s *site, req *pb.PostReadingRequest) *pb.PostReadingResponse {
	s.t.Helper()
	return accepted(s, "ada", decidePostReading, req)
}

// refused posts a reading as ada and gives the refusal.
func refused(s *site, req *pb.PostReadingRequest) error {
	_, err := do(s, "ada", decidePostReading, req)
	return err
}

// wantReason demands a refusal that tells the user something.
func wantReason(t testing.TB, err error, reason string) {
	t.Helper()
	if fault.ReasonOf(err) != reason {
		t.Fatalf("got %v (%s), want %s", err, fault.ReasonOf(err), reason)
	}
}

func torqueStage(nm float64) *cataloguev1.Stage {
	return &cataloguev1.Stage{Kind: cataloguev1.Stage_KIND_TORQUE, TorqueNm: nm, TorqueMinusNm: nm / 10, TorquePlusNm: nm / 10}
}

func angleStage(deg float64) *cataloguev1.Stage {
	return &cataloguev1.Stage{Kind: cataloguev1.Stage_KIND_ANGLE, AngleDeg: deg, AngleMinusDeg: 4, AnglePlusDeg: 4}
}

// cover is a joint of two bolts that one stage tightens, done with the step close.cover.
func cover() *jobv1.JointDue {
	return &jobv1.JointDue{
		Joint: "cover", Title: "Cover", Fasteners: 2, Order: []uint32{1, 2}, ForStep: "close.cover",
		Designs: []*jobv1.JointStages{{Stages: []*cataloguev1.Stage{torqueStage(10)}}},
	}
}

// head depends on the design of the block; in both it takes a torque and an angle.
func head() *jobv1.JointDue {
	return &jobv1.JointDue{
		Joint: "head", Title: "Head", Fasteners: 1, Order: []uint32{1}, ForStep: "close.head", UsedOnce: true,
		Designs: []*jobv1.JointStages{
			{Feature: "block", Value: "iron", Stages: []*cataloguev1.Stage{torqueStage(40), angleStage(90)}},
			{Feature: "block", Value: "alloy", Stages: []*cataloguev1.Stage{torqueStage(30), angleStage(60)}},
		},
	}
}

// wheel is checked again after 50 km; its two bolts may be used three times.
func wheel() *jobv1.JointDue {
	return &jobv1.JointDue{
		Joint: "wheel", Title: "Wheel", Fasteners: 2, Order: []uint32{1, 2}, ForStep: "close.wheel", Uses: 3,
		Recheck: &cataloguev1.Recheck{AfterKm: 50},
		Designs: []*jobv1.JointStages{{Stages: []*cataloguev1.Stage{torqueStage(120)}}},
	}
}

// fire lets time do what is due, until nothing is.
func (s *site) fire() {
	s.t.Helper()
	for n := 0; ; n++ {
		at, pending := due(s.state)
		if !pending || at.After(s.now) {
			return
		}
		events, err := fire(s.state, s.as(""))
		if err != nil || len(events) == 0 || n > 100 {
			s.t.Fatalf("%v is due, and %v (%v) comes of it", at, events, err)
		}
		s.commit(events)
	}
}

func confirmed(revision uint32, joints ...*jobv1.JointDue) *jobv1.DiagnosisConfirmed {
	return &jobv1.DiagnosisConfirmed{
		Job: job1, Vehicle: &jobv1.Vehicle{Plate: "AB 123"}, Plan: &jobv1.Plan{Revision: revision, Joints: joints},
	}
}

func revised(revision uint32, joints ...*jobv1.JointDue) *jobv1.PlanRevised {
	return &jobv1.PlanRevised{
		Job: job1, Vehicle: &jobv1.Vehicle{Plate: "AB 123"}, Plan: &jobv1.Plan{Revision: revision, Joints: joints}, Reason: "another cause",
	}
}

// torqueAngleWrench measures both, and is calibrated.
func torqueAngleWrench() *pb.Wrench {
	return &pb.Wrench{
		Name: bigWrench, Title: "Big wrench", Kind: pb.WrenchKind_WRENCH_KIND_TORQUE_ANGLE, MinNm: 5, MaxNm: 200, DeviationPercent: 4,
		CalibratedAt: timestamppb.New(noon.AddDate(0, -1, 0)), CalibrationDue: timestamppb.New(noon.AddDate(0, 11, 0)),
	}
}

func (s *site) register(w *pb.Wrench) {
	s.t.Helper()
	_, err := do(s, "ada", decideSetWrench, &pb.SetWrenchRequest{Wrench: w})
	if err != nil {
		s.t.Fatal(err)
	}
}

// started is a site with the wrench and a sheet of the joints, their steps begun.
func started(t testing.TB, joints ...*jobv1.JointDue) *site {
	s := newSite(t)
	s.register(torqueAngleWrench())
	s.hear(confirmed(1, joints...))
	for _, j := range joints {
		s.hear(&jobv1.StepStarted{Job: job1, Step: j.GetForStep()})
	}
	return s
}

// ideal is the reading that is asked for next; nil when nothing is.
func (s *site) ideal(joint string) *pb.PostReadingRequest {
	next := s.state.sheets[job1].nextTurn(joint)
	if next == nil {
		return nil
	}
	return &pb.PostReadingRequest{
		Job: job1, Joint: next.GetJoint(), Fastener: next.GetFastener(), Wrench: bigWrench,
		TorqueNm: next.GetSpec().GetTorqueNm(), AngleDeg: next.GetSpec().GetAngleDeg(), Moved: next.GetRound() == 1,
	}
}

// tighten posts what is asked for until nothing is left at the joint.
func (s *site) tighten(joint string) {
	s.t.Helper()
	for req := s.ideal(joint); req != nil; req = s.ideal(joint) {
		resp, err := do(s, "ada", decidePostReading, req)
		if err != nil {
			s.t.Fatal(err)
		}
		if !resp.GetReading().GetCounts() {
			s.t.Fatalf("what was asked for does not count: %s", resp.GetReading().GetReason())
		}
	}
}

func (s *site) sheetState() pb.SheetState { return s.state.sheets[job1].state() }

func (s *site) wantState(want pb.SheetState) {
	s.t.Helper()
	if got := s.sheetState(); got != want {
		s.t.Fatalf("the sheet is %s, want %s; left: %v", got, want, s.state.sheets[job1].left())
	}
}

// complete tightens and signs everything.
func (s *site) complete(joints ...string) {
	s.t.Helper()
	for _, j := range joints {
		s.tighten(j)
	}
	if _, err := do(s, "ada", decideSignSheet, &pb.SignSheetRequest{Job: job1}); err != nil {
		s.t.Fatal(err)
	}
	s.wantState(pb.SheetState_SHEET_STATE_COMPLETE)
}
