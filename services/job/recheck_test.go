package job

import (
	"strings"
	"testing"

	jobv1 "ramprow/proto/ramprow/job/v1"
	torqueauditv1 "ramprow/proto/ramprow/torque_audit/v1"
)

// TestRechecksAreShownAndHoldNothingUp: the job keeps what the audit says of
// them, and no condition of the invoice comes of it.
func TestRechecksAreShownAndHoldNothingUp(t *testing.T) {
	s := ready(t, "coil-4")
	before := len(s.job().unmet())
	s.hear(&torqueauditv1.RecheckAsked{Job: job1, Joint: "wheel", Recheck: &torqueauditv1.JointRecheck{Title: "Wheel", Says: "after 50 km"}})
	notes := s.job().Audit.GetRechecks()
	if len(notes) != 1 || notes[0].GetSays() != "after 50 km" || !notes[0].GetOpen() || notes[0].GetTitle() != "Wheel" {
		t.Fatalf("noted %v", notes)
	}
	if after := len(s.job().unmet()); after != before {
		t.Errorf("%d conditions are unmet, %d were", after, before)
	}
	s.hear(&torqueauditv1.RecheckEnded{Job: job1, Joint: "wheel", Title: "Wheel", State: torqueauditv1.RecheckState_RECHECK_STATE_HELD, Reason: "no fastener moved"})
	notes = s.job().Audit.GetRechecks()
	if len(notes) != 1 || notes[0].GetOpen() || notes[0].GetSays() != "held: no fastener moved" {
		t.Fatalf("noted %v", notes)
	}
	// What is asked anew takes the old one's place; rework of the joint withdraws it.
	s.hear(&torqueauditv1.RecheckAsked{Job: job1, Joint: "wheel", Recheck: &torqueauditv1.JointRecheck{Title: "Wheel", Says: "after 50 km"}})
	s.hear(&torqueauditv1.SheetReopened{Job: job1, PlanRevision: s.job().Plan.GetRevision(), Joints: []string{"cover"}})
	if got := len(s.job().Audit.GetRechecks()); got != 1 {
		t.Fatalf("%d notes after another joint's rework", got)
	}
	s.hear(&torqueauditv1.SheetReopened{Job: job1, PlanRevision: s.job().Plan.GetRevision(), Joints: []string{"wheel"}})
	if got := s.job().Audit.GetRechecks(); len(got) != 0 {
		t.Errorf("after rework %v", got)
	}
}

// TestRechecksAreToldInTheStory: the history names the joint and when it is due.
func TestRechecksAreToldInTheStory(t *testing.T) {
	text := newsSentence(&jobv1.AuditNoted{Status: &jobv1.AuditStatus{
		State: jobv1.AuditState_AUDIT_STATE_COMPLETE, Joints: 2, JointsProved: 2, Rechecks: []*jobv1.RecheckNote{{Title: "Wheel", Says: "after 50 km"}},
	}})
	if !strings.Contains(text, "Wheel is checked again: after 50 km") {
		t.Errorf("told as %q", text)
	}
}
