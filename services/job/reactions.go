package job

import (
	"slices"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/sitelog"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
	torqueauditv1 "ramprow/proto/ramprow/torque_audit/v1"
)

// react keeps what the other services tell about a job. News that says nothing
// new brings nothing about, so a job is not written for every shelf movement.
func react(s *State, f sitelog.Foreign, in sitelog.Input) ([]proto.Message, error) {
	switch m := f.Message.(type) {
	case *inventoryv1.PartsHeld:
		return s.noteParts(m.GetHold())
	case *inventoryv1.PartsShort:
		return s.noteParts(m.GetHold())
	case *inventoryv1.HoldNarrowed:
		return s.noteParts(m.GetHold())
	case *inventoryv1.PartsIssued:
		return s.noteParts(m.GetHold())
	case *inventoryv1.PartsReturned:
		return s.noteParts(m.GetHold())
	case *inventoryv1.HoldReleased:
		return s.noteParts(m.GetHold())
	case *schedulingv1.BookingMade:
		return s.noteBooking(m.GetBooking())
	case *schedulingv1.BookingMoved:
		return s.noteBooking(m.GetBooking())
	case *schedulingv1.BookingWaits:
		return s.noteBooking(m.GetBooking())
	case *schedulingv1.BookingStarted:
		return s.noteBooking(m.GetBooking())
	case *schedulingv1.BookingFinished:
		return s.noteBooking(m.GetBooking())
	case *schedulingv1.BookingCancelled:
		return s.noteBooking(&schedulingv1.Booking{
			Job: m.GetBooking().GetJob(), PlanRevision: m.GetBooking().GetPlanRevision(), WaitingFor: "the booking was cancelled: " + m.GetReason(),
		})
	case *schedulingv1.ZoneSet, *schedulingv1.ClosedDaySet, *schedulingv1.ClosedDayRemoved:
		return s.noteSite(m), nil
	case interface{ GetResource() string }, *schedulingv1.ResourceSet:
		return s.noteHours(m, in.Now), nil
	}
	return s.reactToAudit(f.Message)
}

func (s *State) noteParts(hold *inventoryv1.Hold) ([]proto.Message, error) {
	j, err := s.told(hold.GetJob())
	if err != nil || j == nil || hold.GetPlanRevision() < j.Parts.GetPlanRevision() {
		return nil, err
	}
	status := &jobv1.PartsStatus{State: partsState(hold), PlanRevision: hold.GetPlanRevision(), Eta: hold.GetEta()}
	for _, l := range hold.GetLines() {
		switch l.GetState() {
		case inventoryv1.LineState_LINE_STATE_HELD:
			status.OpenLines++
		case inventoryv1.LineState_LINE_STATE_SHORT:
			status.OpenLines++
			status.ShortParts = append(status.ShortParts, l.GetPart())
		case inventoryv1.LineState_LINE_STATE_ISSUED:
			status.IssuedLines = append(status.IssuedLines, l.GetLine())
		case inventoryv1.LineState_LINE_STATE_UNSPECIFIED, inventoryv1.LineState_LINE_STATE_RETURNED, inventoryv1.LineState_LINE_STATE_RELEASED:
		}
	}
	if proto.Equal(status, j.Parts) {
		return nil, nil
	}
	return []proto.Message{&jobv1.PartsNoted{Job: j.Name, Status: status}}, nil
}

func partsState(hold *inventoryv1.Hold) jobv1.PartsState {
	switch hold.GetState() {
	case inventoryv1.HoldState_HOLD_STATE_SHORT:
		return jobv1.PartsState_PARTS_STATE_SHORT
	case inventoryv1.HoldState_HOLD_STATE_SETTLED:
		return jobv1.PartsState_PARTS_STATE_SETTLED
	case inventoryv1.HoldState_HOLD_STATE_RELEASED, inventoryv1.HoldState_HOLD_STATE_EXPIRED:
		return jobv1.PartsState_PARTS_STATE_RELEASED
	case inventoryv1.HoldState_HOLD_STATE_UNSPECIFIED, inventoryv1.HoldState_HOLD_STATE_HELD:
	}
	for _, l := range hold.GetLines() {
		if l.GetState() == inventoryv1.LineState_LINE_STATE_ISSUED {
			return jobv1.PartsState_PARTS_STATE_ISSUED
		}
	}
	return jobv1.PartsState_PARTS_STATE_HELD
}

func (s *State) noteBooking(b *schedulingv1.Booking) ([]proto.Message, error) {
	j, err := s.told(b.GetJob())
	if err != nil || j == nil || b.GetPlanRevision() < j.Booking.GetPlanRevision() {
		return nil, err
	}
	status := &jobv1.BookingStatus{
		Booking: b.GetName(), Bay: b.GetBay(), Technician: b.GetTechnician(), Tools: b.GetTools(), When: b.GetWhen(),
		WaitingFor: b.GetWaitingFor(), PlanRevision: b.GetPlanRevision(), Promised: b.GetPromised(),
	}
	if proto.Equal(status, j.Booking) {
		return nil, nil
	}
	return []proto.Message{&jobv1.BookingNoted{Job: j.Name, Status: status}}, nil
}

// reactToAudit follows the sheet. Only what is said of the newest plan counts.
func (s *State) reactToAudit(m proto.Message) ([]proto.Message, error) {
	switch m := m.(type) {
	case *torqueauditv1.SheetOpened:
		return s.noteAudit(m.GetJob(), func(a *jobv1.AuditStatus) {
			a.State, a.PlanRevision, a.Joints, a.Reason = jobv1.AuditState_AUDIT_STATE_OPEN, m.GetPlanRevision(), count(m.GetJoints()), ""
		})
	case *torqueauditv1.SheetRevised:
		return s.noteAudit(m.GetJob(), func(a *jobv1.AuditStatus) {
			a.State, a.PlanRevision, a.Joints, a.Reason = jobv1.AuditState_AUDIT_STATE_OPEN, m.GetPlanRevision(), count(m.GetJoints()), ""
			withdraw(a, m.GetDropped())
		})
	case *torqueauditv1.JointProved:
		return s.noteAudit(m.GetJob(), func(a *jobv1.AuditStatus) {
			a.JointsProved++
			a.Tightened++
			if m.GetFirstTime() {
				a.FirstTime++
			}
		})
	case *torqueauditv1.SheetCompleted:
		return s.noteAudit(m.GetJob(), func(a *jobv1.AuditStatus) {
			a.State, a.PlanRevision = jobv1.AuditState_AUDIT_STATE_COMPLETE, m.GetPlanRevision()
			a.Joints, a.JointsProved, a.Reason = m.GetJoints(), m.GetJoints(), ""
		})
	case *torqueauditv1.SheetReopened:
		return s.noteAudit(m.GetJob(), func(a *jobv1.AuditStatus) {
			a.State, a.PlanRevision, a.Reason = jobv1.AuditState_AUDIT_STATE_REOPENED, m.GetPlanRevision(), m.GetReason()
			a.JointsProved -= min(a.GetJointsProved(), uint32(len(m.GetJoints()))) //nolint:gosec // a sheet has few joints
			withdraw(a, m.GetJoints())
		})
	case *torqueauditv1.RecheckAsked:
		return s.noteAudit(m.GetJob(), func(a *jobv1.AuditStatus) {
			note(a, &jobv1.RecheckNote{Joint: m.GetJoint(), Title: m.GetRecheck().GetTitle(), Says: m.GetRecheck().GetSays(), Open: true})
		})
	case *torqueauditv1.RecheckEnded:
		return s.noteAudit(m.GetJob(), func(a *jobv1.AuditStatus) {
			note(a, &jobv1.RecheckNote{Joint: m.GetJoint(), Title: m.GetTitle(), Says: recheckWord(m.GetState()) + ": " + m.GetReason()})
		})
	case *torqueauditv1.SheetVoided:
		return s.noteAudit(m.GetJob(), func(a *jobv1.AuditStatus) { a.State, a.Reason = jobv1.AuditState_AUDIT_STATE_VOID, m.GetReason() })
	}
	return nil, nil
}

// note keeps what was said last of a joint's re-check.
func note(a *jobv1.AuditStatus, n *jobv1.RecheckNote) {
	for i, known := range a.GetRechecks() {
		if known.GetJoint() == n.GetJoint() {
			a.Rechecks[i] = n
			return
		}
	}
	a.Rechecks = append(a.Rechecks, n)
}

// withdraw takes away the re-checks of joints that are tightened anew, or no
// longer; the audit asks for them again.
func withdraw(a *jobv1.AuditStatus, joints []string) {
	a.Rechecks = slices.DeleteFunc(a.GetRechecks(), func(n *jobv1.RecheckNote) bool { return n.GetOpen() && slices.Contains(joints, n.GetJoint()) })
}

func (s *State) noteAudit(job string, change func(*jobv1.AuditStatus)) ([]proto.Message, error) {
	j, err := s.told(job)
	if err != nil || j == nil {
		return nil, err
	}
	status := &jobv1.AuditStatus{}
	if j.Audit != nil {
		status = proto.CloneOf(j.Audit)
	}
	change(status)
	status.JointsProved = min(status.GetJointsProved(), status.GetJoints()) // a revised sheet may have fewer
	if proto.Equal(status, j.Audit) || status.GetPlanRevision() < j.Audit.GetPlanRevision() {
		return nil, nil
	}
	return []proto.Message{&jobv1.AuditNoted{Job: j.Name, Status: status}}, nil
}

func count[T any](list []T) uint32 { return uint32(len(list)) } //nolint:gosec // a sheet has few joints
