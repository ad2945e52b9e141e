package demoday

import (
	"context"
	"fmt"
	"slices"
	"time"

	cataloguev1 "ramprow/proto/ramprow/catalogue/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	torqueauditv1 "ramprow/proto/ramprow/torque_audit/v1"
)

const (
	manyReadings = 3000
	oneReading   = 20 * time.Second
)

// prove tightens until nothing is left, signs, clears, drives and reads again.
func (d *day) prove(ctx context.Context, v *visit) error {
	if err := d.tighten(ctx, v); err != nil {
		return err
	}
	by := d.as(ctx, v.technician())
	if _, err := d.Clients.Job.ClearCodes(by, &jobv1.ClearCodesRequest{RequestId: once(), Job: v.job.GetName()}); err != nil {
		return fmt.Errorf("clear the codes: %w", err)
	}
	if err := d.readNothing(ctx, v, jobv1.ReadingMoment_READING_MOMENT_AFTER_CLEARING); err != nil {
		return err
	}
	if err := d.Clock.wait(ctx, v.minutes(12, 30)); err != nil {
		return err
	}
	if _, err := d.Clients.Job.RecordRoadTest(by, &jobv1.RecordRoadTestRequest{RequestId: once(), Job: v.job.GetName(), Passed: true, DistanceKm: 8 + 10*v.r.Float64()}); err != nil {
		return fmt.Errorf("road test: %w", err)
	}
	return d.readNothing(ctx, v, jobv1.ReadingMoment_READING_MOMENT_AFTER_ROAD_TEST)
}

func (d *day) readNothing(ctx context.Context, v *visit, moment jobv1.ReadingMoment) error {
	_, err := d.Clients.Job.RecordCodes(d.as(ctx, v.technician()), &jobv1.RecordCodesRequest{RequestId: once(), Job: v.job.GetName(), Moment: moment})
	if err != nil {
		return fmt.Errorf("read the codes: %w", err)
	}
	return nil
}

// tighten posts what the sheet asks for. Now and then a fastener of a check still turns.
func (d *day) tighten(ctx context.Context, v *visit) error {
	by, job := d.as(ctx, v.technician()), v.job.GetName()
	var revision uint64
	for range manyReadings {
		r, err := d.Clients.Audit.GetNextTurn(by, &torqueauditv1.GetNextTurnRequest{Job: job, MinRevision: revision})
		if err != nil {
			return fmt.Errorf("next turn: %w", err)
		}
		turn := r.GetNext()
		if turn == nil {
			_, err := d.Clients.Audit.SignSheet(by, &torqueauditv1.SignSheetRequest{RequestId: once(), Job: job})
			if err == nil {
				return nil
			}
			if err := d.look(ctx, v); err != nil {
				return err
			}
			if v.job.GetAudit().GetState() == jobv1.AuditState_AUDIT_STATE_COMPLETE {
				return nil // nothing was to be tightened
			}
			// The sheet follows the steps by event: it may not ask yet.
			if err := d.Clock.wait(ctx, oneMinute); err != nil {
				return err
			}
			continue
		}
		if err := d.Clock.wait(ctx, oneReading); err != nil {
			return err
		}
		spec := turn.GetSpec()
		posted, err := d.Clients.Audit.PostReading(by, &torqueauditv1.PostReadingRequest{
			RequestId: once(), Job: job, Joint: turn.GetJoint(), Fastener: turn.GetFastener(), Stage: turn.GetStage(),
			Wrench: d.wrenchFor(spec), TorqueNm: spec.GetTorqueNm(), AngleDeg: spec.GetAngleDeg(),
			Moved: spec.GetKind() == cataloguev1.Stage_KIND_CHECK && turn.GetRound() < 3 && v.r.IntN(12) == 0,
		})
		if err != nil {
			return fmt.Errorf("post %s: %w", turn.GetSay(), err)
		}
		revision = posted.GetReceipt().GetRevision()
	}
	return fmt.Errorf("the sheet still asks after %d readings", manyReadings)
}

// wrenchFor is one that may do a stage and measures well in its range.
func (d *day) wrenchFor(s *cataloguev1.Stage) string {
	fallback := ""
	for _, w := range d.register {
		allowed := len(s.GetTools()) == 0 || slices.Contains(s.GetTools(), w.GetTool())
		if !allowed || slices.Contains(s.GetBarredTools(), w.GetTool()) {
			continue
		}
		angle := w.GetKind() != torqueauditv1.WrenchKind_WRENCH_KIND_SETTING
		if s.GetAngleDeg() > 0 && !angle {
			continue
		}
		low, high := s.GetTorqueNm()-s.GetTorqueMinusNm(), s.GetTorqueNm()+s.GetTorquePlusNm()
		measures := w.GetKind() != torqueauditv1.WrenchKind_WRENCH_KIND_ANGLE && low >= w.GetMinNm() && high <= w.GetMaxNm()
		if s.GetTorqueNm() == 0 || measures {
			if s.GetAngleDeg() > 0 || !angle {
				return w.GetName()
			}
			fallback = w.GetName()
		}
	}
	return fallback
}

// bill settles the shelf, closes the invoice as soon as it may close, and takes the money.
func (d *day) bill(ctx context.Context, v *visit) error {
	for tries := 0; ; tries++ {
		r, err := d.Clients.Job.CloseInvoice(d.as(ctx, dispatcher), &jobv1.CloseInvoiceRequest{RequestId: once(), Job: v.job.GetName()})
		if err == nil {
			_, err = d.Clients.Job.RecordPayment(d.as(ctx, dispatcher), &jobv1.RecordPaymentRequest{
				RequestId: once(), Job: v.job.GetName(), Amount: r.GetInvoice().GetGross(), How: "card",
			})
			return err
		}
		if tries > 20 {
			return fmt.Errorf("close the invoice: %w", err)
		}
		// What other services decided may still be on its way, and what was held for nothing goes back.
		if tries == 3 {
			_, _ = d.Clients.Inventory.ReleaseHold(d.as(ctx, clerk), &inventoryv1.ReleaseHoldRequest{RequestId: once(), Job: v.job.GetName(), Reason: "not needed"})
		}
		if err := d.Clock.wait(ctx, 3*oneMinute); err != nil {
			return err
		}
	}
}
