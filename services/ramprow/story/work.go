package story

import (
	"context"
	"fmt"
	"strings"

	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// work does every step in the plan's order, and what the car makes of it: a
// design is found, parts are issued, joints are tightened.
func (t *teller) work(ctx context.Context) error {
	t.say("Each step carries its dangers (after !). The maker's data, local rules and licensed persons come first.")
	for done := 0; ; done++ {
		step := t.nextStep()
		if step == nil {
			t.say("All %d steps are done.", len(t.job.GetPlan().GetSteps()))
			return nil
		}
		if len(step.GetPartLines()) > 0 && t.job.GetParts().GetOpenLines() > 0 {
			if err := t.issue(ctx); err != nil {
				return err
			}
		}
		if err := t.doStep(ctx, step); err != nil {
			return err
		}
		if done == halfway && t.Halfway != nil {
			if err := t.Halfway(ctx); err != nil {
				return err
			}
		}
	}
}

// halfway is the step after which Config.Halfway is called.
const halfway = 5

// nextStep is the first step that is not done and has nothing before it.
func (t *teller) nextStep() *jobv1.PlannedStep {
	done := map[string]bool{}
	for _, p := range t.job.GetProgress() {
		done[p.GetStep()] = p.GetState() == jobv1.StepState_STEP_STATE_DONE
	}
	for _, s := range t.job.GetPlan().GetSteps() {
		ready := !done[s.GetId()]
		for _, before := range s.GetAfter() {
			ready = ready && done[before]
		}
		if ready {
			return s
		}
	}
	return nil
}

func (t *teller) doStep(ctx context.Context, s *jobv1.PlannedStep) error {
	started, err := t.clients.Job.StartStep(t.as(ctx, technician), &jobv1.StartStepRequest{RequestId: once(), Job: t.job.GetName(), Step: s.GetId()})
	if err != nil {
		return fmt.Errorf("start %s: %w", s.GetId(), err)
	}
	t.keep(started.GetJob(), started.GetReceipt())
	finished, err := t.clients.Job.FinishStep(t.as(ctx, technician), &jobv1.FinishStepRequest{
		RequestId: once(), Job: t.job.GetName(), Step: s.GetId(), Worked: s.GetEffort().GetLikely(),
	})
	if err != nil {
		return fmt.Errorf("finish %s: %w", s.GetId(), err)
	}
	t.keep(finished.GetJob(), finished.GetReceipt())
	t.tellStep(s)
	for _, found := range s.GetShowsFeatures() {
		if found == feature {
			return t.lookAtDesign(ctx)
		}
	}
	return nil
}

// tellStep tells a step, its time and its dangers on one line.
func (t *teller) tellStep(s *jobv1.PlannedStep) {
	title := s.GetTitle()
	if s.GetRisk() != "" {
		title += " (short cut)"
	}
	line := fmt.Sprintf("%3d min  %s", int(s.GetEffort().GetLikely().AsDuration().Minutes()), title)
	for _, c := range s.GetCautions() {
		line += " ! " + strings.ToLower(c.GetTitle())
	}
	t.say("%s", line)
}

// lookAtDesign says which design the open car has. What was held for the other
// goes back on the shelf.
func (t *teller) lookAtDesign(ctx context.Context) error {
	before := len(t.job.GetPlan().GetParts())
	found, err := t.clients.Job.ReportFinding(t.as(ctx, technician), &jobv1.ReportFindingRequest{
		RequestId: once(), Job: t.job.GetName(), Kind: jobv1.FindingKind_FINDING_KIND_DESIGN, Feature: feature, Value: design,
	})
	if err != nil {
		return fmt.Errorf("report the design: %w", err)
	}
	t.keep(found.GetJob(), found.GetReceipt())
	t.say("Open, it shows: the %s is of the design %q. Lines held for the other that go back on the shelf: %d.",
		strings.ToLower(t.car().Feature(feature).GetTitle()), design, before-len(t.job.GetPlan().GetParts()))
	revision := t.job.GetPlan().GetRevision()
	return t.awaitJob(ctx, "the shelf", func(j *jobv1.Job) bool {
		return j.GetParts().GetPlanRevision() >= revision && int(j.GetParts().GetOpenLines()) <= len(j.GetPlan().GetParts()) &&
			j.GetAudit().GetPlanRevision() >= revision
	})
}

// issue hands every held line over.
func (t *teller) issue(ctx context.Context) error {
	issued, err := t.clients.Inventory.IssueParts(t.as(ctx, clerk), &inventoryv1.IssuePartsRequest{RequestId: once(), Job: t.job.GetName()})
	if err != nil {
		return fmt.Errorf("issue the parts: %w", err)
	}
	t.say("The clerk hands %d lines over.", len(issued.GetHold().GetLines()))
	return t.awaitJob(ctx, "the parts", func(j *jobv1.Job) bool {
		return j.GetParts().GetOpenLines() == 0 && len(j.GetParts().GetIssuedLines()) > 0
	})
}

func money(m *commonv1.Money) string {
	return fmt.Sprintf("%d.%02d %s", m.GetMinorUnits()/100, m.GetMinorUnits()%100, m.GetCurrencyCode())
}
