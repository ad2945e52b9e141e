package demoday

import (
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"google.golang.org/protobuf/proto"

	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// repair waits for the bay and the parts, and does step by step what the plan says.
func (d *day) repair(ctx context.Context, v *visit) error {
	for {
		if err := d.look(ctx, v); err != nil {
			return err
		}
		step := nextStep(v.job)
		if step == nil {
			return nil
		}
		if err := d.do(ctx, v, step); err != nil {
			return err
		}
	}
}

// nextStep is the first that is not done and has nothing before it.
func nextStep(j *jobv1.Job) *jobv1.PlannedStep {
	done := map[string]bool{}
	for _, p := range j.GetProgress() {
		done[p.GetStep()] = p.GetState() == jobv1.StepState_STEP_STATE_DONE
	}
	for _, s := range j.GetPlan().GetSteps() {
		if !done[s.GetId()] && !slices.ContainsFunc(s.GetAfter(), func(before string) bool { return !done[before] }) {
			return s
		}
	}
	return nil
}

// look asks how the job stands.
func (d *day) look(ctx context.Context, v *visit) error {
	r, err := d.Clients.Job.GetJob(d.as(ctx, owner), &jobv1.GetJobRequest{Job: v.job.GetName(), MinRevision: v.revision})
	if err != nil {
		return err
	}
	v.job = r.GetJob()
	if v.job.GetState() == jobv1.JobState_JOB_STATE_CANCELLED {
		return errGone
	}
	return nil
}

// do begins a step as soon as it may begin, and finishes it after the time it takes.
func (d *day) do(ctx context.Context, v *visit, step *jobv1.PlannedStep) error {
	if err := d.begin(ctx, v, step); err != nil {
		return err
	}
	if err := d.Clock.wait(ctx, v.takes(step.GetEffort())); err != nil {
		return err
	}
	by := d.as(ctx, v.technician())
	finished, err := d.Clients.Job.FinishStep(by, &jobv1.FinishStepRequest{RequestId: once(), Job: v.job.GetName(), Step: step.GetId()})
	if err != nil {
		return fmt.Errorf("finish %s: %w", step.GetId(), err)
	}
	v.revision = finished.GetReceipt().GetRevision()
	for _, feature := range step.GetShowsFeatures() {
		value, ok := v.designs[feature]
		if !ok {
			continue
		}
		delete(v.designs, feature)
		found, err := d.Clients.Job.ReportFinding(by, &jobv1.ReportFindingRequest{
			RequestId: once(), Job: v.job.GetName(), Kind: jobv1.FindingKind_FINDING_KIND_DESIGN, Feature: feature, Value: value,
		})
		if err != nil {
			d.Note("%s: the design is not taken: %v", v.job.GetName(), err)
		}
		v.revision = max(v.revision, found.GetReceipt().GetRevision())
	}
	return nil
}

// begin tries until authority, parts, bay and hour allow it.
func (d *day) begin(ctx context.Context, v *visit, step *jobv1.PlannedStep) error {
	request := &jobv1.StartStepRequest{Job: v.job.GetName(), Step: step.GetId()}
	for tries := 0; ; tries++ {
		if err := d.opening(ctx, v); err != nil {
			return err
		}
		if len(step.GetPartLines()) > 0 && v.job.GetParts().GetOpenLines() > 0 {
			// Refused while a line is short: the step itself will say so.
			_, _ = d.Clients.Inventory.IssueParts(d.as(ctx, clerk), &inventoryv1.IssuePartsRequest{RequestId: once(), Job: v.job.GetName()})
		}
		request.RequestId = once()
		_, err := d.Clients.Job.StartStep(d.as(ctx, v.technician()), request)
		if err == nil {
			return nil
		}
		if tries > 400 {
			return fmt.Errorf("start %s: %w", step.GetId(), err)
		}
		if err := d.Clock.wait(ctx, 5*time.Minute); err != nil {
			return err
		}
		if err := d.look(ctx, v); err != nil {
			return err
		}
	}
}

// opening waits until the doors are open and the booking has begun.
func (d *day) opening(ctx context.Context, v *visit) error {
	if start := v.job.GetBooking().GetWhen().GetStart(); start != nil && start.AsTime().After(d.Clock.Now()) {
		// It may be moved forward meanwhile: look again from time to time.
		if err := d.Clock.wait(ctx, min(15*time.Minute, start.AsTime().Sub(d.Clock.Now()))); err != nil {
			return err
		}
		return d.look(ctx, v)
	}
	now := d.Clock.Now()
	if now.Hour() >= opensAt && now.Hour() < closesAt {
		return nil
	}
	morning := time.Date(now.Year(), now.Month(), now.Day(), opensAt, 1+v.r.IntN(15), 0, 0, now.Location())
	if now.Hour() >= closesAt {
		morning = morning.AddDate(0, 0, 1)
	}
	return d.Clock.until(ctx, morning)
}

// technician is whoever is booked.
func (v *visit) technician() person {
	for _, p := range technicians {
		if "people/"+p.name == v.job.GetBooking().GetTechnician() {
			return p
		}
	}
	return technicians[0]
}

// takes draws a time from a log-normal through the three points: half above the likely one.
func (v *visit) takes(effort *commonv1.ThreePoint) time.Duration {
	likely, most := effort.GetLikely().AsDuration().Minutes(), effort.GetPessimistic().AsDuration().Minutes()
	if likely <= 0 {
		return 0
	}
	spread := math.Log(max(most, likely*1.05)/likely) / 2
	return time.Duration(likely * math.Exp(spread*v.r.NormFloat64()) * float64(time.Minute))
}

// buy places what is proposed, and takes in what comes a while later.
func (d *day) buy(ctx context.Context) {
	for d.Clock.wait(ctx, 20*time.Minute) == nil {
		r, err := d.Clients.Inventory.ProposeOrders(d.as(ctx, clerk), &inventoryv1.ProposeOrdersRequest{})
		if err != nil {
			if !unreachable(err) {
				d.Note("proposals: %v", err)
			}
			continue
		}
		for _, p := range r.GetProposals() {
			if p.GetSupplier() == "" || p.GetQuantity() <= 0 {
				continue
			}
			if err := d.order(ctx, p); err != nil && ctx.Err() == nil {
				d.Note("order %s: %v", p.GetPart(), err)
			}
		}
		if err := d.takeDeliveries(ctx); err != nil && ctx.Err() == nil && !unreachable(err) {
			d.Note("deliveries: %v", err)
		}
	}
}

func (d *day) order(ctx context.Context, p *inventoryv1.Proposal) error {
	_, err := d.Clients.Inventory.PlaceOrder(d.as(ctx, clerk), &inventoryv1.PlaceOrderRequest{
		RequestId: once(), Supplier: p.GetSupplier(), Lines: []*inventoryv1.OrderLine{{Part: p.GetPart(), Quantity: p.GetQuantity()}},
	})
	return err
}

// deliveryTime is how long the invented suppliers' van takes.
const deliveryTime = 100 * time.Minute

func (d *day) takeDeliveries(ctx context.Context) error {
	r, err := d.Clients.Inventory.ListOrders(d.as(ctx, clerk), &inventoryv1.ListOrdersRequest{PageSize: 500})
	if err != nil {
		return err
	}
	for _, o := range r.GetOrders() {
		if d.Clock.Now().Sub(o.GetPlacedAt().AsTime()) < deliveryTime {
			continue
		}
		request := &inventoryv1.ReceiveGoodsRequest{RequestId: once(), Order: o.GetName()}
		for _, l := range o.GetLines() {
			if missing := l.GetQuantity() - l.GetReceived(); missing > 0 {
				request.Lines = append(request.Lines, &inventoryv1.ReceivedLine{Part: l.GetPart(), Quantity: missing})
			}
		}
		if len(request.GetLines()) == 0 {
			continue
		}
		if _, err := d.Clients.Inventory.ReceiveGoods(d.as(ctx, clerk), proto.CloneOf(request)); err != nil {
			return err
		}
	}
	return nil
}
