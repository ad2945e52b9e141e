package catalogue

import (
	"fmt"

	"ramprow/internal/engine/fastening"
	pb "ramprow/proto/ramprow/catalogue/v1"
)

// JointToTighten is a joint of a car with the specifications that it can have:
// one when the design is known, one for each open design otherwise.
type JointToTighten struct {
	ID    string
	Title string
	// Surely is false while it is open whether the car has the joint at all.
	Surely         bool
	Specifications []Specification
}

// Settled reports whether exactly one specification is left, on a joint that the
// car surely has.
func (j JointToTighten) Settled() bool { return j.Surely && len(j.Specifications) == 1 }

// Specification is one way to tighten a joint and the cars that it is for.
type Specification struct {
	// When tells the design; the first specification whose conditions hold is
	// the car's.
	When  []*pb.Condition
	Joint fastening.Joint
}

// JointsFor gives the named joints as the car has or may have them, in the order
// named; joints that the car does not have are left out. The error is of
// fastening, about an order that cannot be; a checked catalogue has none.
func (c *Catalogue) JointsFor(facts Facts, ids ...string) ([]JointToTighten, error) {
	var joints []JointToTighten
	for _, id := range ids {
		joint := c.joints[id]
		has := facts.Holds(joint.GetWhen())
		if joint == nil || has == No {
			continue
		}
		made := JointToTighten{ID: joint.GetId(), Title: joint.GetTitle(), Surely: has == Yes}
		for _, set := range joint.GetStageSets() {
			if facts.Holds(set.GetWhen()) == No {
				continue
			}
			specified, err := specification(joint, set)
			if err != nil {
				return nil, fmt.Errorf("joint %s: %w", id, err)
			}
			made.Specifications = append(made.Specifications, Specification{When: set.GetWhen(), Joint: specified})
		}
		joints = append(joints, made)
	}
	return joints, nil
}

func specification(joint *pb.Joint, set *pb.StageSet) (fastening.Joint, error) {
	fasteners := int(joint.GetFasteners())
	order, err := fastening.Order(pattern(joint.GetPattern()), fasteners, numbers(joint.GetOrder()))
	if err != nil {
		return fastening.Joint{}, err
	}
	made := fastening.Joint{
		ID: joint.GetId(), Title: joint.GetTitle(), Fasteners: fasteners, Order: order,
		SoftGasket: joint.GetSoftGasket(), Rule: decisionRule(joint.GetDecisionRule()),
	}
	// Fasteners that are used once are new ones whenever they are tightened.
	if joint.GetUsedOnce() {
		made.Parts = fastening.NewParts
	}
	for _, stage := range set.GetStages() {
		made.Stages = append(made.Stages, fasteningStage(stage))
	}
	return made, nil
}

func fasteningStage(stage *pb.Stage) fastening.Stage {
	return fastening.Stage{
		Kind:          stageKind(stage.GetKind()),
		Torque:        fastening.Window{Target: stage.GetTorqueNm(), Minus: stage.GetTorqueMinusNm(), Plus: stage.GetTorquePlusNm()},
		Angle:         fastening.Window{Target: stage.GetAngleDeg(), Minus: stage.GetAngleMinusDeg(), Plus: stage.GetAnglePlusDeg()},
		TorqueFloor:   stage.GetTorqueFloorNm(),
		RestartIfOver: stage.GetRestartIfOver(),
		Fasteners:     numbers(stage.GetFasteners()),
		Passes:        int(stage.GetPasses()),
		Verify:        stage.GetVerify(),
		Parts:         partState(stage.GetPartState()),
		Tools:         stage.GetTools(),
		BarredTools:   stage.GetBarredTools(),
		Wait:          stage.GetWait().AsDuration(),
	}
}

// decisionRule gives the careful rule where none is written.
func decisionRule(r pb.DecisionRule) fastening.Rule {
	if r == pb.DecisionRule_DECISION_RULE_SIMPLE {
		return fastening.Simple
	}
	return fastening.Guarded
}

func stageKind(kind pb.Stage_Kind) fastening.StageKind {
	switch kind {
	case pb.Stage_KIND_TORQUE:
		return fastening.Torque
	case pb.Stage_KIND_ANGLE:
		return fastening.Angle
	case pb.Stage_KIND_BACK_OFF:
		return fastening.BackOff
	case pb.Stage_KIND_WAIT:
		return fastening.Wait
	case pb.Stage_KIND_CHECK:
		return fastening.Check
	case pb.Stage_KIND_UNSPECIFIED:
	}
	return 0 // the field's own rule keeps such a stage out
}

func pattern(p pb.Pattern) fastening.Pattern {
	switch p {
	case pb.Pattern_PATTERN_NUMBERED:
		return fastening.Numbered
	case pb.Pattern_PATTERN_FROM_MIDDLE:
		return fastening.FromMiddle
	case pb.Pattern_PATTERN_CROSS:
		return fastening.Cross
	case pb.Pattern_PATTERN_CIRCLE:
		return fastening.Circle
	case pb.Pattern_PATTERN_LISTED:
		return fastening.Listed
	case pb.Pattern_PATTERN_UNSPECIFIED:
	}
	return 0 // the field's own rule keeps such a joint out
}

func partState(state pb.Stage_PartState) fastening.PartState {
	switch state {
	case pb.Stage_PART_STATE_NEW:
		return fastening.NewParts
	case pb.Stage_PART_STATE_USED:
		return fastening.UsedParts
	case pb.Stage_PART_STATE_UNSPECIFIED:
	}
	return fastening.AnyParts
}

func numbers(list []uint32) []int {
	made := make([]int, len(list))
	for i, n := range list {
		made[i] = int(n)
	}
	return made
}
