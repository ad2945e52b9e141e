package job

import (
	"slices"
	"strings"

	"ramprow/internal/engine/teardown"
	cataloguev1 "ramprow/proto/ramprow/catalogue/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// addSteps translates the engine's steps and their order.
func (p *planner) addSteps(answer teardown.Plan) {
	ids := make([]string, len(answer.Steps))
	for i, s := range answer.Steps {
		kind := kindOf(s)
		ids[i] = p.stepID(kind, s.ID)
		step := &jobv1.PlannedStep{
			Id:            ids[i],
			Title:         p.titleOf(s),
			Phase:         phases[s.Phase],
			Kind:          kind,
			Source:        s.ID,
			Effort:        threePoint(s.Effort),
			Skills:        s.Skills,
			Tools:         s.Tools,
			ToolsPutOn:    s.ToolsOn,
			ToolsTakenOff: s.ToolsOff,
			Cautions:      p.cautions(s.Hazards),
			NeedsStates:   s.NeedsStates,
			Position:      p.positionOf(s),
			Reason:        s.Reason,
			Pieces:        p.pieces(s),
			Joints:        p.jointsOf(s.Joints),
			ShowsFeatures: p.shows(s),
			How:           p.how(s),
			Risk:          s.Risk,
		}
		for _, before := range s.After {
			step.After = append(step.After, ids[before])
		}
		p.plan.Steps = append(p.plan.Steps, step)
	}
}

func kindOf(s teardown.Step) jobv1.PlannedStep_Kind {
	switch s.Kind {
	case teardown.StepOpen:
		return jobv1.PlannedStep_KIND_TAKE_OFF
	case teardown.StepEnterState:
		return jobv1.PlannedStep_KIND_ENTER_STATE
	case teardown.StepRefit:
		return jobv1.PlannedStep_KIND_REFIT
	case teardown.StepLeaveState:
		return jobv1.PlannedStep_KIND_LEAVE_STATE
	case teardown.StepTask:
	}
	return jobv1.PlannedStep_KIND_REPAIR
}

// titleOf says what is done. The engine knows an operation by its way there;
// the way back is named by what goes back on.
func (p *planner) titleOf(s teardown.Step) string {
	switch s.Kind {
	case teardown.StepRefit:
		if len(s.TakesOff) == 0 {
			return "Undo: " + s.Title
		}
		names := make([]string, len(s.TakesOff))
		for i, id := range s.TakesOff {
			names[i] = p.catalogue.Piece(id).GetTitle()
		}
		return "Refit: " + strings.Join(names, ", ")
	case teardown.StepEnterState:
		return "Bring about: " + s.Title
	case teardown.StepLeaveState:
		return "End: " + s.Title
	case teardown.StepOpen, teardown.StepTask:
	}
	return s.Title
}

// positionOf is from where a step is done; states and repairs have none.
func (p *planner) positionOf(s teardown.Step) cataloguev1.Position {
	if s.Kind == teardown.StepOpen || s.Kind == teardown.StepRefit {
		return p.catalogue.Operation(s.ID).GetPosition()
	}
	return cataloguev1.Position_POSITION_UNSPECIFIED
}

func (p *planner) cautions(hazards []string) []*jobv1.Caution {
	var cautions []*jobv1.Caution
	for _, id := range hazards {
		h := p.catalogue.Hazard(id)
		cautions = append(cautions, &jobv1.Caution{Hazard: id, Title: h.GetTitle(), Precaution: h.GetPrecaution()})
	}
	return cautions
}

// pieces lists what moves. A piece counts once: it is in the tray or on the car.
func (p *planner) pieces(s teardown.Step) []*jobv1.PieceMove {
	var moves []*jobv1.PieceMove
	for _, id := range s.TakesOff {
		piece := p.catalogue.Piece(id)
		moves = append(moves, &jobv1.PieceMove{
			Piece: id, Title: piece.GetTitle(), Count: max(piece.GetCount(), 1),
			Fate: piece.GetFate(), DebrisRisk: piece.GetDebrisRisk(),
		})
	}
	return moves
}

// jointsOf leaves out joints that this car does not have.
func (p *planner) jointsOf(ids []string) []string {
	var joints []string
	for _, id := range ids {
		if p.may(p.catalogue.Joint(id).GetWhen()) {
			joints = append(joints, id)
		}
	}
	return joints
}

// shows lists the designs that a look decides once the step is done.
func (p *planner) shows(s teardown.Step) []string {
	if s.Kind != teardown.StepOpen {
		return nil
	}
	var features []string
	for _, id := range p.facts.Open() {
		seen := p.catalogue.Feature(id).GetSeenOnceOff()
		if slices.ContainsFunc(s.TakesOff, func(piece string) bool { return slices.Contains(seen, piece) }) {
			features = append(features, id)
		}
	}
	return features
}

func (p *planner) how(s teardown.Step) string {
	switch s.Kind {
	case teardown.StepOpen:
		return p.catalogue.Operation(s.ID).GetHow()
	case teardown.StepEnterState:
		return p.catalogue.State(s.ID).GetHow()
	case teardown.StepTask:
		return p.catalogue.Cause(s.ID).GetRepair().GetHow()
	case teardown.StepRefit, teardown.StepLeaveState:
	}
	return ""
}
