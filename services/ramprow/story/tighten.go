package story

import (
	"context"
	"fmt"

	cataloguev1 "ramprow/proto/ramprow/catalogue/v1"
	torqueauditv1 "ramprow/proto/ramprow/torque_audit/v1"
)

// tighten posts a reading for every fastener that the audit asks for, until
// every joint is proved, and signs.
func (t *teller) tighten(ctx context.Context) error {
	if err := t.gunProvesNothing(ctx); err != nil {
		return err
	}
	if t.Tightening != nil {
		if err := t.Tightening(ctx); err != nil {
			return err
		}
	}
	posted, moved := 0, map[string]bool{}
	for {
		r, err := t.clients.Audit.GetNextTurn(t.as(ctx, technician), &torqueauditv1.GetNextTurnRequest{Job: t.job.GetName(), MinRevision: t.auditRevision})
		if err != nil {
			return fmt.Errorf("next turn: %w", err)
		}
		turn := r.GetNext()
		if turn == nil {
			break
		}
		if posted == 0 {
			t.say("The sheet asks: %s.", turn.GetSay())
		}
		// On the first check of a soft gasket one fastener still turns: the round is not the last.
		moves := turn.GetSpec().GetKind() == cataloguev1.Stage_KIND_CHECK && !moved[turn.GetJoint()]
		if err := t.post(ctx, turn, moves); err != nil {
			return err
		}
		if moves {
			moved[turn.GetJoint()] = true
			t.say("%s: bolt %d turns before the click. Round again.", turn.GetTitle(), turn.GetFastener())
		}
		if posted++; posted > manyReadings {
			return fmt.Errorf("the audit still asks for %q after %d readings", turn.GetSay(), posted)
		}
	}
	t.say("%d readings prove every joint.", posted)
	signed, err := t.clients.Audit.SignSheet(t.as(ctx, technician), &torqueauditv1.SignSheetRequest{RequestId: once(), Job: t.job.GetName()})
	if err != nil {
		return fmt.Errorf("sign: %w", err)
	}
	t.say("The technician signs the sheet: %d of %d joints.", signed.GetSheet().GetJointsProved(), signed.GetSheet().GetJointsDue())
	return nil
}

// manyReadings is more than the demo car can ask for.
const manyReadings = 2000

// gunProvesNothing shows that the battery ratchet's word does not count.
func (t *teller) gunProvesNothing(ctx context.Context) error {
	r, err := t.clients.Audit.GetNextTurn(t.as(ctx, technician), &torqueauditv1.GetNextTurnRequest{Job: t.job.GetName()})
	if err != nil || r.GetNext() == nil {
		return fmt.Errorf("next turn: %w", err)
	}
	turn := r.GetNext()
	posted, err := t.clients.Audit.PostReading(t.as(ctx, technician), &torqueauditv1.PostReadingRequest{
		RequestId: once(), Job: t.job.GetName(), Joint: turn.GetJoint(), Fastener: turn.GetFastener(), Wrench: "wrenches/g1",
		TorqueNm: turn.GetSpec().GetTorqueNm(),
	})
	if err != nil {
		return fmt.Errorf("post the gun's word: %w", err)
	}
	if posted.GetReading().GetCounts() {
		return fmt.Errorf("a gun proved %s", turn.GetJoint())
	}
	t.auditRevision = posted.GetReceipt().GetRevision()
	t.say("Run down with the battery ratchet: kept, and does not count: %s.", posted.GetReading().GetReason())
	return nil
}

func (t *teller) post(ctx context.Context, turn *torqueauditv1.NextTurn, moved bool) error {
	stage := turn.GetSpec()
	wrench := wrenchFor(stage)
	r, err := t.clients.Audit.PostReading(t.as(ctx, technician), &torqueauditv1.PostReadingRequest{
		RequestId: once(), Job: t.job.GetName(), Joint: turn.GetJoint(), Fastener: turn.GetFastener(), Stage: turn.GetStage(),
		Wrench: wrench, TorqueNm: stage.GetTorqueNm(), AngleDeg: stage.GetAngleDeg(), Moved: moved,
	})
	if err != nil {
		return fmt.Errorf("post %s: %w", turn.GetSay(), err)
	}
	if !r.GetReading().GetCounts() {
		return fmt.Errorf("%s with %s does not count: %s", turn.GetSay(), wrench, r.GetReading().GetReason())
	}
	t.auditRevision = r.GetReceipt().GetRevision()
	return nil
}

// wrenchFor takes the smallest wrench that can measure a stage.
func wrenchFor(s *cataloguev1.Stage) string {
	if s.GetKind() == cataloguev1.Stage_KIND_ANGLE || s.GetAngleDeg() > 0 {
		return "wrenches/a1"
	}
	for _, w := range wrenches {
		if w.GetKind() == torqueauditv1.WrenchKind_WRENCH_KIND_SETTING &&
			s.GetTorqueNm()-s.GetTorqueMinusNm() >= w.GetMinNm() && s.GetTorqueNm()+s.GetTorquePlusNm() <= w.GetMaxNm() {
			return w.GetName()
		}
	}
	return "wrenches/a1"
}
