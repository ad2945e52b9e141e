package catalogue

import (
	"slices"

	"ramprow/internal/engine/teardown"
	"ramprow/internal/engine/teardown/effort"
	pb "ramprow/proto/ramprow/catalogue/v1"
)

// Minutes lost between two unlike operations: the walk round the car or the lift
// up and down, and the change of tools. Estimates, no source.
const (
	positionChangeMinutes = 2.0
	toolChangeMinutes     = 0.3
)

// TeardownModel gives the car as the teardown engine sees it. While a feature is
// open the model is careful: a piece, a blocking or a book's way that may be
// there is taken to be there, a short cut only if it surely is. Operations that
// are done already stay in the model with their pieces, whatever the car has
// turned out to be since: they have to be put back.
func (c *Catalogue) TeardownModel(facts Facts, done ...string) teardown.Model {
	model := teardown.Model{Setup: teardown.Setup{PositionChange: positionChangeMinutes, ToolChange: toolChangeMinutes}}
	present := presence{}
	for _, piece := range c.message.GetPieces() {
		present[piece.GetId()] = facts.Holds(piece.GetWhen()) != No
	}
	for _, id := range done {
		for _, piece := range slices.Concat(c.operations[id].GetTakesOff(), c.operations[id].GetReaches()) {
			present[piece] = true
		}
	}
	for _, piece := range c.message.GetPieces() {
		if present[piece.GetId()] {
			model.Pieces = append(model.Pieces, teardownPiece(piece, facts, present))
		}
	}
	for _, operation := range c.message.GetOperations() {
		if slices.Contains(done, operation.GetId()) || usable(operation, facts) && present.any(operation) {
			model.Operations = append(model.Operations, c.teardownOperation(operation, facts, present))
		}
	}
	for _, state := range c.message.GetStates() {
		model.States = append(model.States, c.teardownState(state, present))
	}
	return model
}

// presence says which pieces the car has or may have.
type presence map[string]bool

// of keeps the pieces that are there.
func (p presence) of(ids []string) []string {
	return slices.DeleteFunc(slices.Clone(ids), func(id string) bool { return !p[id] })
}

// any reports whether the car has any piece that an operation is about.
func (p presence) any(operation *pb.Operation) bool {
	return len(p.of(operation.GetTakesOff()))+len(p.of(operation.GetReaches())) > 0
}

func usable(operation *pb.Operation, facts Facts) bool {
	switch facts.Holds(operation.GetWhen()) {
	case Yes:
		return true
	case Maybe:
		return operation.GetByTheBook()
	case No:
	}
	return false
}

func teardownPiece(piece *pb.Piece, facts Facts, present presence) teardown.Piece {
	made := teardown.Piece{
		ID: piece.GetId(), Title: piece.GetTitle(), Count: int(piece.GetCount()),
		Fate: teardownFate(piece.GetFate()), DebrisRisk: piece.GetDebrisRisk(),
		RenewedBy: usesOf(piece.GetRenewedBy(), facts),
	}
	for _, blocking := range piece.GetBlockedBy() {
		if facts.Holds(blocking.GetWhen()) == No {
			continue
		}
		// What is not there is not in the way: one absent alternative is enough.
		others := present.of(blocking.GetAnyOf())
		if len(others) < len(blocking.GetAnyOf()) {
			continue
		}
		kind := teardown.InTheWay
		if blocking.GetKind() == pb.Blocking_KIND_BREAKS {
			kind = teardown.Breaks
		}
		made.BlockedBy = append(made.BlockedBy, teardown.Blocking{AnyOf: others, Kind: kind})
	}
	return made
}

func teardownFate(fate pb.Piece_Fate) teardown.Fate {
	switch fate {
	case pb.Piece_FATE_RENEW:
		return teardown.Renew
	case pb.Piece_FATE_INSPECT:
		return teardown.Inspect
	case pb.Piece_FATE_KEEP, pb.Piece_FATE_UNSPECIFIED:
	}
	return teardown.Keep
}

func (c *Catalogue) teardownOperation(operation *pb.Operation, facts Facts, present presence) teardown.Operation {
	return teardown.Operation{
		ID: operation.GetId(), Title: operation.GetTitle(),
		TakesOff: present.of(operation.GetTakesOff()), Reaches: present.of(operation.GetReaches()),
		NeedsOff: present.of(operation.GetNeedsOff()), NeedsReached: present.of(operation.GetNeedsReached()),
		NeedsStates: operation.GetNeedsStates(), ForbidsStates: operation.GetForbidsStates(),
		Effort: c.effort("open", operation.GetId(), operation.GetEffort()), Refit: c.effort("refit", operation.GetId(), operation.GetRefit()),
		Resources: teardown.Resources{
			Skills: operation.GetSkills(), Tools: operation.GetTools(), Hazards: operation.GetHazards(),
			BayKinds: operation.GetBayKinds(), Position: positionWord(operation.GetPosition()),
		},
		ByTheBook: operation.GetByTheBook(), Risk: operation.GetRisk(),
		Joints: c.jointsThatMayBe(operation.GetJoints(), facts),
		Renews: usesOf(operation.GetRenews(), facts),
	}
}

// jointsThatMayBe keeps the joints that the car has or may have.
func (c *Catalogue) jointsThatMayBe(ids []string, facts Facts) []string {
	return slices.DeleteFunc(slices.Clone(ids), func(id string) bool {
		return facts.Holds(c.joints[id].GetWhen()) == No
	})
}

func (c *Catalogue) teardownState(state *pb.State, present presence) teardown.State {
	return teardown.State{
		ID: state.GetId(), Title: state.GetTitle(),
		Enter: c.effort("enter", state.GetId(), state.GetEnter()), Leave: c.effort("leave", state.GetId(), state.GetLeave()),
		Resources:   teardown.Resources{Skills: state.GetSkills(), Tools: state.GetTools(), Hazards: state.GetHazards()},
		ToolsLeftOn: state.GetToolsLeftOn(), NeedsStates: state.GetNeedsStates(),
		NeedsOff: present.of(state.GetNeedsOff()),
	}
}

// RepairTask gives the work that mends a cause. The cause must exist.
func (c *Catalogue) RepairTask(cause string, facts Facts) teardown.Task {
	repair := c.causes[cause].GetRepair()
	return teardown.Task{
		ID: cause, Title: repair.GetTitle(), Kind: teardown.Repair,
		Targets: c.onCar(repair.GetTargets(), facts), NeedsStates: repair.GetNeedsStates(),
		Effort:    c.effort("repair", cause, repair.GetEffort()),
		Resources: teardown.Resources{Skills: repair.GetSkills(), Tools: repair.GetTools(), Hazards: repair.GetHazards()},
		Parts:     usesOf(repair.GetParts(), facts),
	}
}

// TestTask gives the work that a test takes. The test must exist.
func (c *Catalogue) TestTask(test string, facts Facts) teardown.Task {
	t := c.tests[test]
	return teardown.Task{
		ID: test, Title: t.GetTitle(), Kind: teardown.Inspection,
		Targets: c.onCar(t.GetNeedsOpen(), facts), Effort: threePoint(t.GetEffort()),
		Resources: teardown.Resources{Tools: t.GetTools(), Hazards: t.GetHazards()},
	}
}

// onCar keeps the pieces that the car has or may have.
func (c *Catalogue) onCar(ids []string, facts Facts) []string {
	return slices.DeleteFunc(slices.Clone(ids), func(id string) bool {
		return facts.Holds(c.pieces[id].GetWhen()) == No
	})
}

// usesOf keeps the parts that are or may be taken: while a design is open, every
// alternative.
func usesOf(uses []*pb.PartUse, facts Facts) []teardown.PartUse {
	var kept []teardown.PartUse
	for _, use := range uses {
		if facts.Holds(use.GetWhen()) != No {
			kept = append(kept, teardown.PartUse{Part: use.GetPart(), Quantity: use.GetQuantity()})
		}
	}
	return kept
}

func threePoint(minutes *pb.ThreePointMinutes) effort.ThreePoint {
	return effort.ThreePoint{
		Optimistic: minutes.GetOptimistic(), Likely: minutes.GetLikely(), Pessimistic: minutes.GetPessimistic(),
	}
}

// positionWord says from where, in words for people; empty if it does not matter.
func positionWord(position pb.Position) string {
	switch position {
	case pb.Position_POSITION_ABOVE:
		return "from above"
	case pb.Position_POSITION_BELOW:
		return "from below"
	case pb.Position_POSITION_WHEEL_OFF:
		return "wheel arch"
	case pb.Position_POSITION_CABIN:
		return "cabin"
	case pb.Position_POSITION_BENCH:
		return "bench"
	case pb.Position_POSITION_UNSPECIFIED:
	}
	return ""
}
