package story

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// What the second car was first said to have, and what it has.
const (
	firstCause = "coil-4"
	trueCause  = "injector-4"
)

// wrong is another car, whose first diagnosis was wrong. It is told by a teller of its own, so that the first car's job stays
// the story's.
func (t *teller) wrong(ctx context.Context) error {
	other := *t
	other.Halfway = nil
	return other.wrongDiagnosis(ctx)
}

func (t *teller) wrongDiagnosis(ctx context.Context) error {
	for _, part := range []func(context.Context) error{t.secondIntake, t.planSecond, t.openSecond, t.doubt, t.replan} {
		if err := part(ctx); err != nil {
			return err
		}
	}
	return nil
}

func (t *teller) secondIntake(ctx context.Context) error {
	opened, err := t.clients.Job.OpenJob(t.as(ctx, dispatcher), &jobv1.OpenJobRequest{
		RequestId: once(),
		Vehicle: &jobv1.Vehicle{
			Vin: "YMR0RN16ZHA000042", Plate: "RP-OR 42", Catalogue: family, OdometerKm: 96_000,
			Features: map[string]string{"body": "hatch", "gearbox": "manual"},
			Built:    timestamppb.New(time.Date(2020, 3, 20, 0, 0, 0, 0, time.UTC)),
		},
		Customer: &jobv1.Customer{Name: "Otto Wend", Contact: "by telephone"}, Complaint: "Misses when cold.",
	})
	if err != nil {
		return fmt.Errorf("open the job: %w", err)
	}
	t.keep(opened.GetJob(), opened.GetReceipt())
	confirmed := uint32(0x2F)
	read, err := t.clients.Job.RecordCodes(t.as(ctx, second), &jobv1.RecordCodesRequest{
		RequestId: once(), Job: t.job.GetName(), Moment: jobv1.ReadingMoment_READING_MOMENT_INTAKE,
		Codes: []*jobv1.CodeReading{{Code: "P0304", Status: &confirmed}},
	})
	if err != nil {
		return fmt.Errorf("record the codes: %w", err)
	}
	t.keep(read.GetJob(), read.GetReceipt())
	t.say("%s: %q. The code is P0304 again, and the first guess is the commonest cause: %s.", t.job.GetCustomer().GetName(),
		t.job.GetComplaint(), t.car().Cause(firstCause).GetTitle())
	return nil
}

// planSecond confirms the wrong cause; parts, bay and the customer follow.
func (t *teller) planSecond(ctx context.Context) error {
	confirmed, err := t.clients.Job.ConfirmDiagnosis(t.as(ctx, second), &jobv1.ConfirmDiagnosisRequest{
		RequestId: once(), Job: t.job.GetName(), Causes: []string{firstCause},
	})
	if err != nil {
		return fmt.Errorf("confirm: %w", err)
	}
	t.keep(confirmed.GetJob(), confirmed.GetReceipt())
	if err := t.agree(ctx); err != nil {
		return err
	}
	if err := t.settled(ctx); err != nil {
		return err
	}
	t.tellStanding("Planned")
	return nil
}

// agree takes the customer's word for the plan as it is.
func (t *teller) agree(ctx context.Context) error {
	up := t.job.GetPlan().GetLabourEstimate()
	up.MinorUnits += t.job.GetPlan().GetPartsEstimate().GetMinorUnits()
	given, err := t.clients.Job.AuthoriseWork(t.as(ctx, dispatcher), &jobv1.AuthoriseWorkRequest{
		RequestId: once(), Job: t.job.GetName(), UpTo: up, GivenBy: t.job.GetCustomer().GetName(), How: "telephone",
	})
	if err != nil {
		return fmt.Errorf("authorise: %w", err)
	}
	t.keep(given.GetJob(), given.GetReceipt())
	return nil
}

// settled waits until shelf, board and audit have answered the present plan.
func (t *teller) settled(ctx context.Context) error {
	revision := t.job.GetPlan().GetRevision()
	return t.awaitJob(ctx, "shelf, board and audit", func(j *jobv1.Job) bool {
		return j.GetParts().GetPlanRevision() >= revision && j.GetBooking().GetWhen() != nil &&
			j.GetBooking().GetPlanRevision() >= revision && j.GetAudit().GetPlanRevision() >= revision
	})
}

func (t *teller) tellStanding(word string) {
	plan, when := t.job.GetPlan(), t.job.GetBooking().GetWhen()
	t.say("%s: %s left at half, %s in all, %s until %s; parts %s.", word, span(plan.GetEffort().GetP50()),
		money(estimate(plan)), t.job.GetBooking().GetBay(), clock(when.GetEnd().AsTime()), strings.Join(partNumbers(plan), ", "))
}

func partNumbers(p *jobv1.Plan) []string {
	var parts []string
	for _, l := range p.GetParts() {
		if !slices.Contains(parts, l.GetPart()) {
			parts = append(parts, l.GetPart())
		}
	}
	return parts
}

// openSecond works until the part that is to be renewed lies open.
func (t *teller) openSecond(ctx context.Context) error {
	done := 0
	for step := t.nextStep(); step != nil && step.GetKind() != jobv1.PlannedStep_KIND_REPAIR; step = t.nextStep() {
		if err := t.quickly(ctx, step); err != nil {
			return err
		}
		done++
	}
	t.say("%s opens the car: %d steps, and the coil lies open.", second.name, done)
	return nil
}

// quickly does one step without telling it.
func (t *teller) quickly(ctx context.Context, s *jobv1.PlannedStep) error {
	started, err := t.clients.Job.StartStep(t.as(ctx, second), &jobv1.StartStepRequest{RequestId: once(), Job: t.job.GetName(), Step: s.GetId()})
	if err != nil {
		return fmt.Errorf("start %s: %w", s.GetId(), err)
	}
	t.keep(started.GetJob(), started.GetReceipt())
	finished, err := t.clients.Job.FinishStep(t.as(ctx, second), &jobv1.FinishStepRequest{
		RequestId: once(), Job: t.job.GetName(), Step: s.GetId(), Worked: s.GetEffort().GetLikely(),
	})
	if err != nil {
		return fmt.Errorf("finish %s: %w", s.GetId(), err)
	}
	t.keep(finished.GetJob(), finished.GetReceipt())
	return nil
}

// doubt finds on the open car that it is another cause.
func (t *teller) doubt(ctx context.Context) error {
	found, err := t.clients.Job.ReportFinding(t.as(ctx, second), &jobv1.ReportFindingRequest{
		RequestId: once(), Job: t.job.GetName(), Kind: jobv1.FindingKind_FINDING_KIND_CAUSE_NOT_FOUND, Cause: firstCause,
		Note: "the misfire does not move with the coil",
	})
	if err != nil {
		return fmt.Errorf("report that it is another cause: %w", err)
	}
	t.keep(found.GetJob(), found.GetReceipt())
	for _, test := range []struct {
		id      string
		outcome jobv1.TestOutcome
	}{
		{"swap-coil", jobv1.TestOutcome_TEST_OUTCOME_NEGATIVE},
		{"injector-click", jobv1.TestOutcome_TEST_OUTCOME_POSITIVE},
		{"wiggle-harness", jobv1.TestOutcome_TEST_OUTCOME_NEGATIVE},
	} {
		r, err := t.clients.Job.RecordTest(t.as(ctx, second), &jobv1.RecordTestRequest{RequestId: once(), Job: t.job.GetName(), Test: test.id, Outcome: test.outcome})
		if err != nil {
			return fmt.Errorf("test %s: %w", test.id, err)
		}
		t.keep(r.GetJob(), r.GetReceipt())
	}
	t.say("It was not the coil: the misfire does not move with it, and an injector is silent. The diagnosis on the open car:")
	return t.rank(ctx)
}

// replan compares the ways to the true cause from the car as it stands, takes the one by the book, and shows what moved.
func (t *teller) replan(ctx context.Context) error {
	compared, err := t.clients.Job.ComparePlans(t.as(ctx, second), &jobv1.ComparePlansRequest{Job: t.job.GetName(), Causes: []string{trueCause}})
	if err != nil {
		return fmt.Errorf("compare the ways: %w", err)
	}
	t.say("Ways to %q from the car as it stands:", t.car().Cause(trueCause).GetTitle())
	for _, a := range compared.GetAlternatives() {
		t.say("   %-12s at half, %-12s four of five, %-11s short cuts %d: %s", span(a.GetPlan().GetEffort().GetP50()),
			span(a.GetPlan().GetEffort().GetP80()), money(a.GetPrice()), len(a.GetRisks()), a.GetWay().GetName())
	}
	before := t.job
	revised, err := t.clients.Job.ConfirmDiagnosis(t.as(ctx, second), &jobv1.ConfirmDiagnosisRequest{
		RequestId: once(), Job: t.job.GetName(), Causes: []string{trueCause}, Way: &jobv1.Way{ByTheBook: true},
		Reason: "found on opening: not the coil",
	})
	if err != nil {
		return fmt.Errorf("confirm the true cause: %w", err)
	}
	t.keep(revised.GetJob(), revised.GetReceipt())
	asked := t.job.GetAuthorityAsked()
	if asked == nil {
		return fmt.Errorf("the plan costs %s, %s are authorised, and nobody is to be asked", money(estimate(t.job.GetPlan())), money(estimate(before.GetPlan())))
	}
	if err := t.settled(ctx); err != nil {
		return err
	}
	t.tellStanding("Replanned, by the book")
	if err := t.tellSwap(ctx, before); err != nil {
		return err
	}
	t.say("The dispatcher is told to ask for %s instead of %s, and %s agrees.", money(asked.GetEstimate()), money(asked.GetAuthorised()), t.job.GetCustomer().GetName())
	if err := t.agree(ctx); err != nil {
		return err
	}
	step := t.nextStep()
	if err := t.quickly(ctx, step); err != nil {
		return err
	}
	t.say("What was done stays done; %s goes on with: %s.", second.name, step.GetTitle())
	return nil
}

// tellSwap tells what parts, bay and audit made of the revision. That nothing moved is a defect.
func (t *teller) tellSwap(ctx context.Context, before *jobv1.Job) error {
	hold, err := t.clients.Inventory.GetHold(t.as(ctx, clerk), &inventoryv1.GetHoldRequest{Job: t.job.GetName()})
	if err != nil {
		return fmt.Errorf("look at the hold: %w", err)
	}
	var back, held []string
	for _, part := range partNumbers(before.GetPlan()) {
		if !slices.Contains(partNumbers(t.job.GetPlan()), part) {
			back = append(back, part)
		}
	}
	for _, l := range hold.GetHold().GetLines() {
		if l.GetHeld() > 0 && !slices.Contains(partNumbers(before.GetPlan()), l.GetPart()) && !slices.Contains(held, l.GetPart()) {
			held = append(held, l.GetPart())
		}
		if slices.Contains(back, l.GetPart()) && l.GetHeld() > 0 {
			return fmt.Errorf("%s is still held for the wrong cause", l.GetPart())
		}
	}
	moved := t.job.GetBooking().GetWhen().GetEnd().AsTime().Sub(before.GetBooking().GetWhen().GetEnd().AsTime())
	if len(back) == 0 || len(held) == 0 || moved <= 0 {
		return fmt.Errorf("the replan moved nothing: %d parts back, %d held, the bay's end by %s", len(back), len(held), moved)
	}
	t.say("Back on the shelf: %s. Held instead: %s.", strings.Join(back, ", "), strings.Join(held, ", "))
	t.say("%s is booked %d min longer; the tightening audit goes from %d to %d joints.", t.job.GetBooking().GetBay(),
		int(moved.Round(time.Minute).Minutes()), before.GetAudit().GetJoints(), t.job.GetAudit().GetJoints())
	return nil
}

func estimate(p *jobv1.Plan) *commonv1.Money {
	return &commonv1.Money{
		MinorUnits:   p.GetLabourEstimate().GetMinorUnits() + p.GetPartsEstimate().GetMinorUnits(),
		CurrencyCode: p.GetLabourEstimate().GetCurrencyCode(),
	}
}
