package job

import (
	"google.golang.org/protobuf/proto"

	"ramprow/internal/catalogue"
	cataloguev1 "ramprow/proto/ramprow/catalogue/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// addJoints lists every joint that a refit of this plan tightens, with the
// stages of each design that the car may have. A joint that several steps touch
// is tightened with the last of them.
func (p *planner) addJoints() {
	at := map[string]int{}
	for _, s := range p.plan.GetSteps() {
		for _, id := range s.GetJoints() {
			if i, known := at[id]; known {
				p.plan.Joints[i].ForStep = s.GetId()
				continue
			}
			at[id] = len(p.plan.GetJoints())
			p.plan.Joints = append(p.plan.Joints, p.jointDue(p.catalogue.Joint(id), s.GetId()))
		}
	}
}

func (p *planner) jointDue(j *cataloguev1.Joint, step string) *jobv1.JointDue {
	due := &jobv1.JointDue{
		Joint:         j.GetId(),
		Title:         j.GetTitle(),
		Fasteners:     j.GetFasteners(),
		Thread:        j.GetThread(),
		PropertyClass: j.GetPropertyClass(),
		Order:         catalogue.TighteningOrder(j),
		SoftGasket:    j.GetSoftGasket(),
		UsedOnce:      j.GetUsedOnce(),
		Oiled:         j.GetOiled(),
		Recheck:       j.GetRecheck(),
		ForStep:       step,
		Cautions:      p.cautions(j.GetHazards()),
		ClampLengthMm: j.GetClampLengthMm(),
		DecisionRule:  j.GetDecisionRule(),
		Uses:          j.GetUses(),
		Friction:      j.GetFriction(),
	}
	for _, set := range j.GetStageSets() {
		switch p.facts.Holds(set.GetWhen()) {
		case catalogue.No:
		case catalogue.Yes:
			due.Designs = append(due.Designs, &jobv1.JointStages{Stages: set.GetStages()})
		case catalogue.Maybe:
			feature := p.openFeature(set.GetWhen())
			for _, value := range p.valuesMeeting(feature, set.GetWhen()) {
				due.Designs = append(due.Designs, &jobv1.JointStages{Feature: feature, Value: value.Value, Stages: set.GetStages()})
			}
		}
	}
	return due
}

// narrowed is the plan once a design is known: lines and stages of the other
// values are gone, those of this one are settled.
func narrowed(plan *jobv1.Plan, feature, value string) *jobv1.Plan {
	if plan == nil {
		return nil
	}
	plan = proto.CloneOf(plan)
	parts := plan.GetParts()[:0]
	for _, l := range plan.GetParts() {
		if l.GetFeature() == feature && l.GetValue() != value {
			continue
		}
		if l.GetFeature() == feature {
			l.Feature, l.Value, l.Probability = "", "", 0
		}
		parts = append(parts, l)
	}
	plan.Parts = parts
	plan.PartsEstimate.MinorUnits = dearest(parts)
	for _, j := range plan.GetJoints() {
		j.Designs = narrowedDesigns(j.GetDesigns(), feature, value)
	}
	for _, s := range plan.GetSteps() {
		s.PartLines = linesOf(plan.GetParts(), s.GetId())
		s.ShowsFeatures = without(s.GetShowsFeatures(), feature)
	}
	return plan
}

func narrowedDesigns(designs []*jobv1.JointStages, feature, value string) []*jobv1.JointStages {
	var kept []*jobv1.JointStages
	for _, d := range designs {
		if d.GetFeature() == feature && d.GetValue() != value {
			continue
		}
		if d.GetFeature() == feature {
			d.Feature, d.Value = "", ""
		}
		kept = append(kept, d)
	}
	return kept
}

func linesOf(lines []*jobv1.PartWanted, step string) []string {
	var ids []string
	for _, l := range lines {
		if l.GetForStep() == step {
			ids = append(ids, l.GetLine())
		}
	}
	return ids
}
