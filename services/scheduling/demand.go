package scheduling

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/durationpb"

	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// wantPlan writes into a demand what a plan asks for.
func wantPlan(d *schedulingv1.Demand, plan *jobv1.Plan, now time.Time) {
	d.PlanRevision = plan.GetRevision()
	d.Effort, d.LeftSince = plan.GetEffort(), stamp(now)
	d.Shares = nil
	for _, phase := range plan.GetPhases() {
		d.Shares = append(d.Shares, &schedulingv1.EffortShare{
			Phase: phaseWord(phase.GetPhase()),
			P50:   phase.GetEffort().GetP50(), P80: phase.GetEffort().GetP80(),
		})
	}
	d.Skills, d.BayKinds = plan.GetSkills(), plan.GetBayKinds()
	d.Tools = nil
	for _, need := range plan.GetTools() {
		// A tool that is put on twice is one piece all the same.
		if !slices.Contains(d.GetTools(), need.GetTool()) {
			d.Tools = append(d.Tools, need.GetTool())
		}
	}
	d.UntilPartsNeeded = plan.GetUntilPartsNeeded()
}

// phaseWord gives repair for PHASE_REPAIR.
func phaseWord(p jobv1.Phase) string {
	return strings.ToLower(strings.TrimPrefix(p.String(), "PHASE_"))
}

// leaveLeft writes into a demand what is left after a step. What was worked
// brings the first need of a part nearer.
func leaveLeft(d *schedulingv1.Demand, done *jobv1.StepDone, now time.Time) {
	worked := effortOf(d.GetEffort()) - effortOf(done.GetLeft())
	until := d.GetUntilPartsNeeded().AsDuration() - max(0, worked)
	d.Effort, d.LeftSince = done.GetLeft(), stamp(now)
	d.UntilPartsNeeded = durationpb.New(max(0, until))
}

// hearParts writes into a demand what a hold says of the parts.
func hearParts(d *schedulingv1.Demand, hold *inventoryv1.Hold) {
	d.PartsRevision = hold.GetPlanRevision()
	d.PartsKnown, d.PartsEta, d.PartsMissing = true, nil, ""
	if hold.GetState() != inventoryv1.HoldState_HOLD_STATE_SHORT {
		return
	}
	var undated []string
	for _, line := range hold.GetLines() {
		if line.GetState() == inventoryv1.LineState_LINE_STATE_SHORT && line.GetEta() == nil {
			undated = append(undated, orElse(line.GetTitle(), line.GetPart()))
		}
	}
	d.PartsEta = hold.GetEta()
	if hold.GetEtaP80() != nil { // a car is opened once its parts are there likely, not on the day that was promised
		d.PartsEta = hold.GetEtaP80()
	}
	if d.GetPartsEta() == nil || len(undated) > 0 {
		d.PartsKnown, d.PartsEta = false, nil
		d.PartsMissing = fmt.Sprintf("nobody knows when its missing parts come: %s; order them", orElse(strings.Join(undated, ", "), "see its hold"))
	}
}

// loseParts writes into a demand that nothing is held for it any more.
func loseParts(d *schedulingv1.Demand, released *inventoryv1.HoldReleased) {
	d.PartsRevision = released.GetHold().GetPlanRevision()
	d.PartsKnown, d.PartsEta = false, nil
	d.PartsMissing = "its parts are no longer held (" + orElse(released.GetReason(), "released") + "); hold them again"
}
