package job

import (
	"slices"
	"time"

	"google.golang.org/protobuf/types/known/durationpb"

	"ramprow/internal/platform/fault"
	cataloguev1 "ramprow/proto/ramprow/catalogue/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// addNeeds collects what scheduling books: special tools, skills, bays, and how
// long the work goes on before a part is missed.
func (p *planner) addNeeds() {
	var before time.Duration
	partsNeeded := false
	for _, s := range p.plan.GetSteps() {
		if p.job.stepDone(s.GetId()) {
			continue
		}
		partsNeeded = partsNeeded || len(s.GetPartLines()) > 0
		if !partsNeeded {
			before += meanOf(s.GetEffort())
		}
		for _, skill := range s.GetSkills() {
			if !slices.Contains(p.plan.GetSkills(), skill) {
				p.plan.Skills = append(p.plan.Skills, skill)
			}
		}
		for _, tool := range slices.Concat(s.GetTools(), s.GetToolsPutOn(), s.GetToolsTakenOff()) {
			p.needTool(tool, s.GetId())
		}
	}
	slices.Sort(p.plan.GetSkills())
	p.plan.UntilPartsNeeded = durationpb.New(before)
}

// needTool books a special tool from its first use to its last.
func (p *planner) needTool(id, step string) {
	tool := p.catalogue.Tool(id)
	if tool.GetKind() != cataloguev1.Tool_KIND_SPECIAL {
		return
	}
	if i := slices.IndexFunc(p.plan.GetTools(), func(n *jobv1.ToolNeed) bool { return n.GetTool() == id }); i >= 0 {
		p.plan.Tools[i].LastStep = step
		return
	}
	p.plan.Tools = append(p.plan.Tools, &jobv1.ToolNeed{
		Tool: id, Title: tool.GetTitle(), FirstStep: step, LastStep: step, MustComeOff: tool.GetMustComeOff(),
	})
}

// addBays lists the bay kinds in which every open step can be done. A stripped
// car does not move, so if no kind suits all of them, there is no plan.
func (p *planner) addBays() error {
	for _, s := range p.plan.GetSteps() {
		moves := s.GetKind() == jobv1.PlannedStep_KIND_TAKE_OFF || s.GetKind() == jobv1.PlannedStep_KIND_REFIT
		if !moves || p.job.stepDone(s.GetId()) {
			continue
		}
		wanted := p.catalogue.Operation(s.GetSource()).GetBayKinds()
		if len(wanted) == 0 {
			continue
		}
		if len(p.plan.GetBayKinds()) == 0 {
			p.plan.BayKinds = slices.Clone(wanted)
			continue
		}
		p.plan.BayKinds = slices.DeleteFunc(p.plan.GetBayKinds(), func(k string) bool { return !slices.Contains(wanted, k) })
		if len(p.plan.GetBayKinds()) == 0 {
			return fault.New(fault.Precondition, "NO_BAY_FITS",
				"no kind of bay suits all of this work: %s needs another one than the steps before it; plan the causes one after the other", s.GetTitle()).
				With("step", s.GetId())
		}
	}
	return nil
}

// price is labour at the mean effort of every step and all parts; of
// alternatives the dearest counts, so that an authorisation is enough whichever
// design the car has.
func (p *planner) price() {
	var labour time.Duration
	for _, s := range p.plan.GetSteps() {
		labour += meanOf(s.GetEffort())
	}
	p.plan.LabourEstimate = p.money(int64(labourPrice(p.catalogue, wholeMinutes(labour))))
	p.plan.PartsEstimate = p.money(dearest(p.plan.GetParts()))
}

// dearest adds up fixed lines and, for each open feature, its dearest value.
func dearest(lines []*jobv1.PartWanted) int64 {
	var fixed int64
	byValue := map[string]map[string]int64{}
	for _, l := range lines {
		if l.GetFeature() == "" {
			fixed += l.GetPrice().GetMinorUnits()
			continue
		}
		if byValue[l.GetFeature()] == nil {
			byValue[l.GetFeature()] = map[string]int64{}
		}
		byValue[l.GetFeature()][l.GetValue()] += l.GetPrice().GetMinorUnits()
	}
	for _, values := range byValue {
		var most int64
		for _, sum := range values {
			most = max(most, sum)
		}
		fixed += most
	}
	return fixed
}
