package job

import (
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
	torqueauditv1 "ramprow/proto/ramprow/torque_audit/v1"
)

// everything is one event of each kind that the job service follows, at job 1.
func everything(j *Job) []proto.Message {
	hold, b, revision := holdOf(j, held), booking(j), j.Plan.GetRevision()
	return []proto.Message{
		&inventoryv1.PartsHeld{Job: j.Name, Hold: hold}, &inventoryv1.PartsShort{Job: j.Name, Hold: hold},
		&inventoryv1.HoldNarrowed{Job: j.Name, Hold: hold}, &inventoryv1.PartsIssued{Job: j.Name, Hold: hold},
		&inventoryv1.PartsReturned{Job: j.Name, Hold: hold}, &inventoryv1.HoldReleased{Job: j.Name, Hold: hold},
		&schedulingv1.BookingMade{Booking: b}, &schedulingv1.BookingMoved{Booking: b}, &schedulingv1.BookingWaits{Booking: b},
		&schedulingv1.BookingStarted{Booking: b}, &schedulingv1.BookingFinished{Booking: b}, &schedulingv1.BookingCancelled{Booking: b},
		&torqueauditv1.SheetOpened{Job: j.Name, PlanRevision: revision}, &torqueauditv1.SheetRevised{Job: j.Name, PlanRevision: revision},
		&torqueauditv1.JointProved{Job: j.Name, Joint: "x"}, &torqueauditv1.SheetCompleted{Job: j.Name, PlanRevision: revision, Joints: 2},
		&torqueauditv1.SheetReopened{Job: j.Name, PlanRevision: revision}, &torqueauditv1.SheetVoided{Job: j.Name},
	}
}

// TestEveryForeignEventAnywhere hears all of them at a site without the job, at
// one without a plan, and twice over at one with everything: none is an error,
// and what says nothing new is not written.
func TestEveryForeignEventAnywhere(t *testing.T) {
	known := ready(t, "coil-4")
	for _, m := range everything(known.job()) {
		wantNames(t, newSite(t).hear(m), "")
		opened(t).hear(m) // inventory may be ahead of what this replica has read of its own log
		known.hear(m)
		switch m.(type) {
		case *torqueauditv1.JointProved: // counts; the log sees to it that it is heard once
		default:
			wantNames(t, known.hear(m), "")
		}
	}
	wantNames(t, known.hear(&inventoryv1.StockMoved{}), "")
}

func TestPartsNews(t *testing.T) {
	for _, tt := range []struct {
		name  string
		state inventoryv1.HoldState
		lines []inventoryv1.LineState
		want  jobv1.PartsState
		open  uint32
	}{
		{"held", inventoryv1.HoldState_HOLD_STATE_HELD, []inventoryv1.LineState{held, held}, jobv1.PartsState_PARTS_STATE_HELD, 2},
		{"one is missing", inventoryv1.HoldState_HOLD_STATE_SHORT, []inventoryv1.LineState{held, inventoryv1.LineState_LINE_STATE_SHORT}, jobv1.PartsState_PARTS_STATE_SHORT, 2},
		{"one is at the car", inventoryv1.HoldState_HOLD_STATE_HELD, []inventoryv1.LineState{held, issued}, jobv1.PartsState_PARTS_STATE_ISSUED, 1},
		{"settled", inventoryv1.HoldState_HOLD_STATE_SETTLED, []inventoryv1.LineState{issued, inventoryv1.LineState_LINE_STATE_RETURNED}, jobv1.PartsState_PARTS_STATE_SETTLED, 0},
		{"released", inventoryv1.HoldState_HOLD_STATE_RELEASED, []inventoryv1.LineState{inventoryv1.LineState_LINE_STATE_RELEASED}, jobv1.PartsState_PARTS_STATE_RELEASED, 0},
		{"expired", inventoryv1.HoldState_HOLD_STATE_EXPIRED, []inventoryv1.LineState{inventoryv1.LineState_LINE_STATE_RELEASED}, jobv1.PartsState_PARTS_STATE_RELEASED, 0},
	} {
		t.Run(tt.name, func(t *testing.T) {
			s := opened(t)
			s.do(confirming("coil-4"))
			hold := &inventoryv1.Hold{Job: job1, PlanRevision: 1, State: tt.state}
			var out, short int
			for i, state := range tt.lines {
				hold.Lines = append(hold.Lines, &inventoryv1.HoldLine{Line: string(rune('a' + i)), Part: string(rune('A' + i)), State: state})
				if state == issued {
					out++
				}
				if state == inventoryv1.LineState_LINE_STATE_SHORT {
					short++
				}
			}
			s.hear(&inventoryv1.PartsHeld{Job: job1, Hold: hold})
			p := s.job().Parts
			if p.GetState() != tt.want || p.GetOpenLines() != tt.open || len(p.GetIssuedLines()) != out || len(p.GetShortParts()) != short {
				t.Errorf("noted as %v", p)
			}
		})
	}
}

func TestOlderNewsIsIgnored(t *testing.T) {
	s := ready(t, "coil-4")
	s.do(confirming("plug-1"))
	oldHold, oldBooking := holdOf(s.job(), held), booking(s.job())
	oldHold.PlanRevision, oldBooking.PlanRevision = 1, 1
	s.issueAll()
	s.book()
	s.prove()
	for _, m := range []proto.Message{
		&inventoryv1.PartsShort{Hold: oldHold}, &schedulingv1.BookingMoved{Booking: oldBooking}, &schedulingv1.BookingCancelled{Booking: oldBooking},
		&torqueauditv1.SheetOpened{Job: job1, PlanRevision: 1}, &torqueauditv1.SheetCompleted{Job: job1, PlanRevision: 1},
		&torqueauditv1.SheetReopened{Job: job1, PlanRevision: 1},
	} {
		wantNames(t, s.hear(m), "")
	}
}

func TestBookingNews(t *testing.T) {
	s := ready(t, "coil-4")
	b := booking(s.job())
	b.When.Start = timestamppb.New(monday.Add(time.Hour))
	wantNames(t, s.hear(&schedulingv1.BookingMoved{Booking: b}), "BookingNoted")
	if !s.job().booked() {
		t.Error("moved, and not booked")
	}
	s.hear(&schedulingv1.BookingWaits{Booking: &schedulingv1.Booking{Name: b.GetName(), Job: job1, PlanRevision: 1, WaitingFor: "a lift"}})
	if s.job().booked() || s.job().waitingFor() != "a lift" {
		t.Errorf("waits for %q", s.job().waitingFor())
	}
	s.book()
	s.hear(&schedulingv1.BookingCancelled{Booking: b, Reason: "the bay is closed"})
	if s.job().booked() {
		t.Error("cancelled, and booked")
	}
	_, err := s.try(starting(s.job().nextStep().GetId()))
	if unmetOf(err) != "BAY_NOT_BOOKED" {
		t.Errorf("begun without a bay: %v", err)
	}
}

// TestAuditNews follows a sheet by its events, the count of proved joints too.
func TestAuditNews(t *testing.T) {
	s := ready(t, "coil-4")
	two := []*jobv1.JointDue{{Joint: "a"}, {Joint: "b"}}
	for _, step := range []struct {
		m             proto.Message
		state         jobv1.AuditState
		joints, prove uint32
	}{
		{&torqueauditv1.SheetOpened{Job: job1, PlanRevision: 1, Joints: two}, jobv1.AuditState_AUDIT_STATE_OPEN, 2, 0},
		{&torqueauditv1.JointProved{Job: job1, Joint: "a"}, jobv1.AuditState_AUDIT_STATE_OPEN, 2, 1},
		{&torqueauditv1.JointProved{Job: job1, Joint: "b"}, jobv1.AuditState_AUDIT_STATE_OPEN, 2, 2},
		{&torqueauditv1.SheetCompleted{Job: job1, PlanRevision: 1, Joints: 2}, jobv1.AuditState_AUDIT_STATE_COMPLETE, 2, 2},
		{&torqueauditv1.SheetReopened{Job: job1, PlanRevision: 1, Joints: []string{"a"}, Reason: "leaks"}, jobv1.AuditState_AUDIT_STATE_REOPENED, 2, 1},
		{&torqueauditv1.SheetRevised{Job: job1, PlanRevision: 2, Joints: two[:1]}, jobv1.AuditState_AUDIT_STATE_OPEN, 1, 1},
		{&torqueauditv1.SheetCompleted{Job: job1, PlanRevision: 2, Joints: 1}, jobv1.AuditState_AUDIT_STATE_COMPLETE, 1, 1},
		{&torqueauditv1.SheetVoided{Job: job1, Reason: "sold"}, jobv1.AuditState_AUDIT_STATE_VOID, 1, 1},
	} {
		s.hear(step.m)
		if a := s.job().Audit; a.GetState() != step.state || a.GetJoints() != step.joints || a.GetJointsProved() != step.prove {
			t.Fatalf("after %T: %v", step.m, a)
		}
	}
}
