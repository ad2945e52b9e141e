package story

import (
	"context"
	"fmt"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/durationpb"

	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// plan confirms the diagnosis and follows what it sets off.
func (t *teller) plan(ctx context.Context) error {
	confirmed, err := t.clients.Job.ConfirmDiagnosis(t.as(ctx, technician), &jobv1.ConfirmDiagnosisRequest{
		RequestId: once(), Job: t.job.GetName(), Causes: []string{cause},
	})
	if err != nil {
		return fmt.Errorf("confirm the diagnosis: %w", err)
	}
	t.keep(confirmed.GetJob(), confirmed.GetReceipt())
	plan := t.job.GetPlan()
	t.say("The technician confirms: %s.", t.car().Cause(cause).GetTitle())
	t.say("The plan: %d steps, %d part lines, %d joints with %d fasteners; %s at half, %s four times of five.",
		len(plan.GetSteps()), len(plan.GetParts()), len(plan.GetJoints()), fasteners(plan), span(plan.GetEffort().GetP50()), span(plan.GetEffort().GetP80()))
	t.explainTime()
	if err := t.partsAnswer(ctx); err != nil {
		return err
	}
	return t.bayAnswer(ctx)
}

func fasteners(p *jobv1.Plan) uint32 {
	var n uint32
	for _, j := range p.GetJoints() {
		n += j.GetFasteners()
	}
	return n
}

// explainTime shows where the bay time comes from.
func (t *teller) explainTime() {
	plan := t.job.GetPlan()
	t.say("Where the bay time comes from:")
	for _, phase := range plan.GetPhases() {
		t.say("   %-8s %s", strings.ToLower(strings.TrimPrefix(phase.GetPhase().String(), "PHASE_")), span(phase.GetEffort().GetMean()))
	}
	var longest *jobv1.PlannedStep
	for _, s := range plan.GetSteps() {
		if s.GetEffort().GetLikely().AsDuration() > longest.GetEffort().GetLikely().AsDuration() {
			longest = s
		}
	}
	t.say("   the longest step is %q: %s (%s)", longest.GetTitle(), span(longest.GetEffort().GetLikely()), longest.GetReason())
}

// partsAnswer shows the shortage, and has the clerk end it.
func (t *teller) partsAnswer(ctx context.Context) error {
	err := t.awaitJob(ctx, "parts", func(j *jobv1.Job) bool { return j.GetParts().GetState() == jobv1.PartsState_PARTS_STATE_SHORT })
	if err != nil {
		return err
	}
	t.say("Inventory holds what is there, for every design that this car may have, and is short of %s.",
		strings.Join(t.job.GetParts().GetShortParts(), ", "))
	proposed, err := t.clients.Inventory.ProposeOrders(t.as(ctx, clerk), &inventoryv1.ProposeOrdersRequest{})
	if err != nil {
		return fmt.Errorf("propose orders: %w", err)
	}
	for _, p := range proposed.GetProposals() {
		if p.GetPart() == missingPart {
			t.say("The clerk is told: order %d × %s from %s: %s.", p.GetQuantity(), p.GetTitle(), p.GetSupplier(), p.GetReason())
		}
	}
	return t.buy(ctx)
}

// buy orders the missing part and receives it.
func (t *teller) buy(ctx context.Context) error {
	part := t.car().Part(missingPart)
	ordered, err := t.clients.Inventory.PlaceOrder(t.as(ctx, clerk), &inventoryv1.PlaceOrderRequest{
		RequestId: once(), Supplier: part.GetSupplier(), Lines: []*inventoryv1.OrderLine{{Part: missingPart, Quantity: 16}},
	})
	if err != nil {
		return fmt.Errorf("order: %w", err)
	}
	received, err := t.clients.Inventory.ReceiveGoods(t.as(ctx, clerk), &inventoryv1.ReceiveGoodsRequest{
		RequestId: once(), Order: ordered.GetOrder().GetName(), Lines: []*inventoryv1.ReceivedLine{{Part: missingPart, Quantity: 16}},
	})
	if err != nil {
		return fmt.Errorf("receive: %w", err)
	}
	t.say("The clerk orders 16 from %s, they come by courier, and %s is served at once.", part.GetSupplier(), strings.Join(received.GetJobsServed(), ", "))
	return t.awaitJob(ctx, "parts", func(j *jobv1.Job) bool { return j.GetParts().GetState() == jobv1.PartsState_PARTS_STATE_HELD })
}

// bayAnswer shows the booking.
func (t *teller) bayAnswer(ctx context.Context) error {
	err := t.awaitJob(ctx, "a bay", func(j *jobv1.Job) bool { return j.GetBooking().GetWhen() != nil })
	if err != nil {
		return err
	}
	b, err := t.clients.Scheduling.GetBooking(t.as(ctx, dispatcher), &schedulingv1.GetBookingRequest{Job: t.job.GetName()})
	if err != nil {
		return fmt.Errorf("look at the booking: %w", err)
	}
	booking := b.GetBooking()
	t.say("Scheduling books %s with %s, %s to %s, and promises %s.", booking.GetBay(), booking.GetTechnician(),
		clock(booking.GetWhen().GetStart().AsTime()), clock(booking.GetWhen().GetEnd().AsTime()), clock(booking.GetPromised().AsTime()))
	t.say("Why there: %s", booking.GetReason())
	err = t.awaitJob(ctx, "the audit", func(j *jobv1.Job) bool { return j.GetAudit().GetPlanRevision() >= j.GetPlan().GetRevision() })
	if err != nil {
		return err
	}
	t.say("The tightening audit opens a sheet of %d joints. All of it is one trace: %s", t.job.GetAudit().GetJoints(), t.job.GetTraceId())
	return nil
}

// span gives a time as people say it, as in 2 h 24 min.
func span(d *durationpb.Duration) string {
	minutes := int(d.AsDuration().Round(time.Minute).Minutes())
	if minutes < 60 {
		return fmt.Sprintf("%d min", minutes)
	}
	return fmt.Sprintf("%d h %02d min", minutes/60, minutes%60)
}

func clock(at time.Time) string { return at.Format("Mon 2 Jan 15:04") }

// authorise asks the customer, after the work was refused for want of it.
func (t *teller) authorise(ctx context.Context) error {
	first := t.job.GetPlan().GetSteps()[0]
	_, err := t.clients.Job.StartStep(t.as(ctx, technician), &jobv1.StartStepRequest{RequestId: once(), Job: t.job.GetName(), Step: first.GetId()})
	if err == nil {
		return fmt.Errorf("a step began without the customer's word")
	}
	t.say("The technician tries to begin: %v.", err)
	plan := t.job.GetPlan()
	total := plan.GetLabourEstimate().GetMinorUnits() + plan.GetPartsEstimate().GetMinorUnits()
	up := plan.GetLabourEstimate()
	up.MinorUnits = (total/5000 + 1) * 5000 // to the next fifty
	given, err := t.clients.Job.AuthoriseWork(t.as(ctx, dispatcher), &jobv1.AuthoriseWorkRequest{
		RequestId: once(), Job: t.job.GetName(), UpTo: up, GivenBy: t.job.GetCustomer().GetName(), How: "telephone",
	})
	if err != nil {
		return fmt.Errorf("authorise: %w", err)
	}
	t.keep(given.GetJob(), given.GetReceipt())
	t.say("%s authorises up to %s without tax.", t.job.GetCustomer().GetName(), money(up))
	return nil
}
