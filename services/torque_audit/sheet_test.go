package torqueaudit

import (
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/durationpb"

	cataloguev1 "ramprow/proto/ramprow/catalogue/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	pb "ramprow/proto/ramprow/torque_audit/v1"
)

func stepStarted(step string) *jobv1.StepStarted { return &jobv1.StepStarted{Job: job1, Step: step} }

func TestSheetWithoutJointsIsCompleteAtOnce(t *testing.T) {
	s := newSite(t)
	events := s.hear(confirmed(3))
	done, ok := events[len(events)-1].(*pb.SheetCompleted)
	if !ok || done.GetPlanRevision() != 3 {
		t.Fatalf("events %v", events)
	}
	s.wantState(pb.SheetState_SHEET_STATE_COMPLETE)
	s.hear(revised(4, cover()))
	s.wantState(pb.SheetState_SHEET_STATE_OPEN)
	s.hear(revised(5))
	s.wantState(pb.SheetState_SHEET_STATE_COMPLETE)
}

func TestSheetFollowsThePlan(t *testing.T) {
	s := started(t, cover())
	s.complete("cover")
	if got := s.hear(revised(1, cover(), head())); len(got) != 0 {
		t.Fatalf("an older plan brought about %v", got)
	}
	s.hear(revised(2, cover(), head()))
	s.wantState(pb.SheetState_SHEET_STATE_OPEN)
	sh := s.state.sheets[job1]
	if !sh.find("cover").proved {
		t.Error("a joint that the new plan tightens alike lost its proof")
	}
	if got := sh.find("head").state(); got != pb.JointState_JOINT_STATE_WAITING {
		t.Errorf("head is %s", got)
	}
	events := s.hear(revised(3, head()))
	if m, ok := events[0].(*pb.SheetRevised); !ok || len(m.GetDropped()) != 1 || m.GetDropped()[0] != "cover" {
		t.Errorf("events %v", events)
	}
	err := refused(s, &pb.PostReadingRequest{Job: job1, Joint: "cover", Fastener: 1, Wrench: bigWrench, TorqueNm: 10})
	wantReason(t, err, "JOINT_DROPPED")
	if len(sh.find("cover").readings) != 2 {
		t.Error("the readings of a dropped joint are gone")
	}
}

func TestOtherStagesBeginAnew(t *testing.T) {
	s := started(t, cover())
	s.tighten("cover")
	stronger := cover()
	stronger.Designs[0].Stages[0].TorqueNm = 12
	s.hear(revised(2, stronger))
	if j := s.state.sheets[job1].find("cover"); j.proved || len(j.readings) != 2 {
		t.Errorf("proved %v with %d readings; want open, with both readings kept", j.proved, len(j.readings))
	}
	s.complete("cover")
}

// TestAnotherStepBeginsAnew: a joint that a later step takes apart again is
// not proved by what was done before.
func TestAnotherStepBeginsAnew(t *testing.T) {
	s := started(t, cover())
	s.tighten("cover")
	again := cover()
	again.ForStep = "close.cover-again"
	s.hear(revised(2, again))
	err := refused(s, &pb.PostReadingRequest{Job: job1, Joint: "cover", Fastener: 1, Wrench: bigWrench, TorqueNm: 10})
	wantReason(t, err, "JOINT_NOT_READY")
	s.hear(&jobv1.StepDone{Job: job1, Step: "close.cover-again"})
	s.complete("cover")
}

func TestDesignFound(t *testing.T) {
	s := started(t, cover(), head())
	err := refused(s, &pb.PostReadingRequest{Job: job1, Joint: "head", Fastener: 1, Wrench: bigWrench, TorqueNm: 40})
	wantReason(t, err, "JOINT_UNDETERMINED")
	if left := s.state.sheets[job1].left(); !strings.Contains(strings.Join(left, "; "), "Head: its stages depend on block") {
		t.Errorf("left %q", left)
	}
	events := s.hear(&jobv1.DesignFound{Job: job1, Feature: "block", Value: "alloy", Title: "alloy block"})
	if m, ok := events[0].(*pb.SheetRevised); !ok || m.GetPlanRevision() != 1 {
		t.Fatalf("events %v", events)
	}
	if n := s.state.sheets[job1].nextTurn("head"); n.GetSpec().GetTorqueNm() != 30 {
		t.Errorf("next %v, want the alloy block's 30 N·m", n)
	}
	if again := s.hear(&jobv1.DesignFound{Job: job1, Feature: "block", Value: "alloy"}); len(again) != 0 {
		t.Errorf("found again: %v", again)
	}
	s.complete("cover", "head")
}

func TestDesignThatNoStagesFit(t *testing.T) {
	s := started(t, head())
	s.hear(&jobv1.DesignFound{Job: job1, Feature: "block", Value: "wood"})
	err := refused(s, &pb.PostReadingRequest{Job: job1, Joint: "head", Fastener: 1, Wrench: bigWrench, TorqueNm: 40})
	wantReason(t, err, "JOINT_UNDETERMINED")
	_, err = do(s, "ada", decideSignSheet, &pb.SignSheetRequest{Job: job1})
	wantReason(t, err, "JOINTS_NOT_PROVED")
}

func TestDeparture(t *testing.T) {
	s := started(t, cover())
	for _, c := range []struct{ first, second, reason string }{
		{"ada", "ada", "SECOND_PERSON_NEEDED"},
		{"ADA ", "ada", "SECOND_PERSON_NEEDED"},
		{" ", "ada", "SECOND_PERSON_NEEDED"},
	} {
		_, err := do(s, c.second, decideSignDeparture, &pb.SignDepartureRequest{Job: job1, Joint: "cover", FirstPerson: c.first, Reason: "no room for a wrench"})
		wantReason(t, err, c.reason)
	}
	_, err := do(s, "ben", decideSignDeparture, &pb.SignDepartureRequest{Job: job1, Joint: "cover", FirstPerson: "ada", Reason: " "})
	wantReason(t, err, "REASON_NEEDED")
	got := accepted(s, "ben", decideSignDeparture, &pb.SignDepartureRequest{Job: job1, Joint: "cover", FirstPerson: "ada", Reason: "no room for a wrench"})
	if d := got.GetSheet().GetJoints()[0].GetDeparture(); d.GetFirstPerson() != "ada" || d.GetSecondPerson() != "ben" || d.GetReason() == "" {
		t.Fatalf("departure %v", d)
	}
	err = refused(s, &pb.PostReadingRequest{Job: job1, Joint: "cover", Fastener: 1, Wrench: bigWrench, TorqueNm: 10})
	wantReason(t, err, "JOINT_DEPARTED")
	s.complete()
	accepted(s, "ada", decideReopenSheet, &pb.ReopenSheetRequest{Job: job1, Joints: []string{"cover"}, Reason: "there is room after all"})
	s.complete("cover")
}

func TestReopening(t *testing.T) {
	s := started(t, cover())
	s.complete("cover")
	got := accepted(s, "ada", decideReopenSheet, &pb.ReopenSheetRequest{Job: job1, Joints: []string{"cover"}, Reason: "leaks"})
	if sh := got.GetSheet(); sh.GetState() != pb.SheetState_SHEET_STATE_REOPENED || sh.GetSignedBy() != "" || sh.GetJointsProved() != 0 {
		t.Fatalf("sheet %v", sh)
	}
	_, err := do(s, "ada", decideReopenSheet, &pb.ReopenSheetRequest{Job: job1, Joints: []string{"none"}, Reason: "leaks"})
	wantReason(t, err, "JOINT_NOT_FOUND")
	s.complete("cover")
}

func TestCancelledJob(t *testing.T) {
	s := started(t, cover())
	s.hear(&jobv1.JobCancelled{Job: job1, Reason: "customer changed their mind"})
	s.wantState(pb.SheetState_SHEET_STATE_VOID)
	err := refused(s, &pb.PostReadingRequest{Job: job1, Joint: "cover", Fastener: 1, Wrench: bigWrench, TorqueNm: 10})
	wantReason(t, err, "SHEET_VOID")
	if len(s.hear(revised(2, cover()))) != 0 || len(s.hear(stepStarted("close.cover"))) != 0 {
		t.Error("a void sheet went on")
	}
}

// TestWaitAtTheEnd: the time alone finishes a joint, and the signature finds it so.
func TestWaitAtTheEnd(t *testing.T) {
	sealed := cover()
	sealed.Designs[0].Stages = append(sealed.Designs[0].Stages, &cataloguev1.Stage{
		Kind: cataloguev1.Stage_KIND_WAIT, Wait: durationpb.New(time.Hour),
	})
	s := started(t, sealed)
	s.tighten("cover")
	_, err := do(s, "ada", decideSignSheet, &pb.SignSheetRequest{Job: job1})
	wantReason(t, err, "JOINTS_NOT_PROVED")
	s.now = noon.Add(time.Hour)
	accepted(s, "ada", decideSignSheet, &pb.SignSheetRequest{Job: job1})
	s.wantState(pb.SheetState_SHEET_STATE_COMPLETE)
}

func TestSoftGasketInWords(t *testing.T) {
	soft := cover()
	soft.SoftGasket = true
	s := started(t, soft)
	for range 2 {
		posted(s, s.ideal("cover"))
	}
	if left := s.state.sheets[job1].left(); left[0] != "Cover, stage 1, second round: bolts 1 and 2" {
		t.Errorf("left %q", left)
	}
	s.complete("cover")
	if got := s.state.sheets[job1].render().GetJoints()[0].GetMovedByRound(); len(got) != 2 || got[0] != 2 || got[1] != 0 {
		t.Errorf("moved by round %v", got)
	}
}
