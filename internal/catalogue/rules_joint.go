package catalogue

import (
	"fmt"
	"slices"

	pb "ramprow/proto/ramprow/catalogue/v1"
)

// toolRange finds tools whose range cannot be: reversed, or missing on a wrench.
func toolRange(c *content, found report) {
	for i, tool := range c.message.GetTools() {
		low, high := tool.GetTorqueMinNm(), tool.GetTorqueMaxNm()
		switch {
		case low > high:
			found(fmt.Sprintf("tools[%d].torque_min_nm", i), "the range begins at %g N·m and ends at %g N·m", low, high)
		case tool.GetKind() == pb.Tool_KIND_TORQUE_WRENCH && high == 0:
			found(fmt.Sprintf("tools[%d].torque_max_nm", i), "a torque wrench has a range; write its ends")
		}
	}
}

// jointWithoutStages finds joints that nobody would know how to tighten.
func jointWithoutStages(c *content, found report) {
	for i, joint := range c.message.GetJoints() {
		if len(joint.GetStageSets()) == 0 {
			found(fmt.Sprintf("joints[%d]", i), "it has no stage_sets; write how it is tightened")
		}
		for j, set := range joint.GetStageSets() {
			if len(set.GetStages()) == 0 {
				found(fmt.Sprintf("joints[%d].stage_sets[%d]", i, j), "it has no stages; write how it is tightened")
			}
		}
	}
}

// jointFeatures names what the tightening of a joint depends on.
func jointFeatures(joint *pb.Joint) map[string]bool {
	lists := [][]*pb.Condition{joint.GetWhen()}
	for _, set := range joint.GetStageSets() {
		lists = append(lists, set.GetWhen())
	}
	return featuresOf(lists...)
}

// stagesMissing finds joints for which some car has no stages.
func stagesMissing(c *content, found report) {
	c.countStageSets(func(i int, car combination, fitting []int) bool {
		if len(fitting) > 0 {
			return false
		}
		found(fmt.Sprintf("joints[%d].stage_sets", i), "no set of stages fits %s", car)
		return true
	})
}

// stagesAmbiguous finds joints for which some car has several sets of stages.
func stagesAmbiguous(c *content, found report) {
	c.countStageSets(func(i int, car combination, fitting []int) bool {
		if len(fitting) < 2 {
			return false
		}
		found(fmt.Sprintf("joints[%d].stage_sets[%d]", i, fitting[1]), "on %s stage_sets[%d] fits as well", car, fitting[0])
		return true
	})
}

// countStageSets calls back with the sets that fit, for every joint and every
// kind of car that has it, until the callback has seen enough of the joint.
func (c *Catalogue) countStageSets(enough func(joint int, car combination, fitting []int) bool) {
	for i, joint := range c.message.GetJoints() {
		if len(joint.GetStageSets()) == 0 {
			continue
		}
		cars, _ := c.combinations(jointFeatures(joint))
		for _, car := range cars {
			if !car.meets(joint.GetWhen()) {
				continue
			}
			var fitting []int
			for j, set := range joint.GetStageSets() {
				if car.meets(set.GetWhen()) {
					fitting = append(fitting, j)
				}
			}
			if enough(i, car, fitting) {
				break
			}
		}
	}
}

// eachStage goes through all stages with their paths.
func (c *Catalogue) eachStage(do func(path string, joint *pb.Joint, stage *pb.Stage)) {
	for i, joint := range c.message.GetJoints() {
		for j, set := range joint.GetStageSets() {
			for k, stage := range set.GetStages() {
				do(fmt.Sprintf("joints[%d].stage_sets[%d].stages[%d]", i, j, k), joint, stage)
			}
		}
	}
}

// stageWithoutValue finds stages that do not say how much.
func stageWithoutValue(c *content, found report) {
	c.eachStage(func(path string, _ *pb.Joint, stage *pb.Stage) {
		switch stage.GetKind() {
		case pb.Stage_KIND_TORQUE, pb.Stage_KIND_CHECK:
			if stage.GetTorqueNm() == 0 {
				found(path+".torque_nm", "a torque stage needs its torque")
			}
		case pb.Stage_KIND_ANGLE:
			if stage.GetAngleDeg() == 0 {
				found(path+".angle_deg", "an angle stage needs its angle")
			}
		case pb.Stage_KIND_WAIT:
			if stage.GetWait().AsDuration() <= 0 {
				found(path+".wait", "a waiting stage needs its time, as in 600s")
			}
		case pb.Stage_KIND_BACK_OFF, pb.Stage_KIND_UNSPECIFIED:
			// Backing off without an angle means fully; no kind at all breaks
			// the field's own rule.
		}
	})
}

// allowed lists the known tools that a stage may be done with.
func (c *Catalogue) allowed(stage *pb.Stage) []*pb.Tool {
	tools := c.message.GetTools()
	if len(stage.GetTools()) > 0 {
		tools = nil
		for _, id := range stage.GetTools() {
			if tool := c.tools[id]; tool != nil {
				tools = append(tools, tool)
			}
		}
	}
	return slices.DeleteFunc(slices.Clone(tools), func(tool *pb.Tool) bool {
		return slices.Contains(stage.GetBarredTools(), tool.GetId())
	})
}

// measuresTorque reports whether a tool proves every torque from low to high,
// in newton metres. A gun proves nothing, whatever its scale says.
func measuresTorque(tool *pb.Tool, low, high float64) bool {
	wrench := tool.GetKind() == pb.Tool_KIND_TORQUE_WRENCH || tool.GetKind() == pb.Tool_KIND_ANGLE
	return wrench && tool.GetTorqueMaxNm() > 0 && tool.GetTorqueMinNm() <= low && high <= tool.GetTorqueMaxNm()
}

// measuresAngle reports whether a tool proves an angle.
func measuresAngle(tool *pb.Tool) bool {
	return tool.GetKind() != pb.Tool_KIND_GUN && (tool.GetKind() == pb.Tool_KIND_ANGLE || tool.GetMeasuresAngle())
}

// stageTorqueNotMeasurable finds stages whose torque window no allowed wrench
// covers; the floor after an angle counts as well.
func stageTorqueNotMeasurable(c *content, found report) {
	c.eachStage(func(path string, _ *pb.Joint, stage *pb.Stage) {
		low, high := stage.GetTorqueFloorNm(), stage.GetTorqueFloorNm()
		field := path + ".torque_floor_nm"
		if stage.GetKind() == pb.Stage_KIND_TORQUE || stage.GetKind() == pb.Stage_KIND_CHECK {
			low, high = stage.GetTorqueNm()-stage.GetTorqueMinusNm(), stage.GetTorqueNm()+stage.GetTorquePlusNm()
			field = path + ".torque_nm"
		}
		covers := func(tool *pb.Tool) bool { return measuresTorque(tool, low, high) }
		if high > 0 && !slices.ContainsFunc(c.allowed(stage), covers) {
			found(field, "none of its tools measures all of %g to %g N·m; a gun proves nothing", low, high)
		}
	})
}

// stageAngleNotMeasurable finds angle stages that no allowed tool can prove.
func stageAngleNotMeasurable(c *content, found report) {
	c.eachStage(func(path string, _ *pb.Joint, stage *pb.Stage) {
		if stage.GetKind() == pb.Stage_KIND_ANGLE && !slices.ContainsFunc(c.allowed(stage), measuresAngle) {
			found(path+".angle_deg", "none of its tools measures an angle")
		}
	})
}

// stageFastener finds stages about fasteners that the joint does not have.
func stageFastener(c *content, found report) {
	c.eachStage(func(path string, joint *pb.Joint, stage *pb.Stage) {
		for i, number := range stage.GetFasteners() {
			if number < 1 || number > joint.GetFasteners() {
				found(fmt.Sprintf("%s.fasteners[%d]", path, i), "the joint's fasteners are 1 to %d", joint.GetFasteners())
			}
		}
	})
}

// patternOrder finds listed orders that miss or repeat a fastener, and orders
// that nobody follows.
func patternOrder(c *content, found report) {
	for i, joint := range c.message.GetJoints() {
		at := fmt.Sprintf("joints[%d].order", i)
		if joint.GetPattern() != pb.Pattern_PATTERN_LISTED {
			if len(joint.GetOrder()) > 0 {
				found(at, "an order is only followed with pattern PATTERN_LISTED")
			}
			continue
		}
		sorted := slices.Clone(joint.GetOrder())
		slices.Sort(sorted)
		whole := len(sorted) == int(joint.GetFasteners())
		for j, number := range sorted {
			whole = whole && int(number) == j+1
		}
		if !whole {
			found(at, "write every fastener from 1 to %d once", joint.GetFasteners())
		}
	}
}

// jointNeverUndone finds joints that no work ever opens.
func jointNeverUndone(c *content, found report) {
	undone := map[string]bool{}
	for _, ref := range c.references {
		if ref.kind == kindJoint {
			undone[ref.id] = true
		}
	}
	targets := map[string]bool{}
	for _, cause := range c.message.GetCauses() {
		for _, id := range cause.GetRepair().GetTargets() {
			targets[id] = true
		}
	}
	for i, joint := range c.message.GetJoints() {
		mended := slices.ContainsFunc(joint.GetPieces(), func(id string) bool { return targets[id] })
		if !undone[joint.GetId()] && !mended {
			found(fmt.Sprintf("joints[%d]", i), "no operation undoes it and no repair is about its pieces")
		}
	}
}
