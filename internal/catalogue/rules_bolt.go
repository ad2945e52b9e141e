package catalogue

import (
	"fmt"

	"ramprow/internal/engine/fastening/bolt"
	pb "ramprow/proto/ramprow/catalogue/v1"
)

// torqueImplausible finds specifications far outside what thread and property
// class can bear by VDI 2230: most often a wrong unit or digit. The maker's data
// may still be right, so it is a warning, with the numbers.
func torqueImplausible(c *content, found report) {
	for i, joint := range c.message.GetJoints() {
		for j, set := range joint.GetStageSets() {
			want, at := hardest(joint, set)
			if at < 0 {
				continue
			}
			field := fmt.Sprintf("joints[%d].stage_sets[%d].stages[%d].torque_nm", i, j, at)
			warnings, err := bolt.Check(want)
			if err != nil {
				found(fmt.Sprintf("joints[%d].property_class", i), "%v", err)
				break
			}
			for _, w := range warnings {
				found(field, "%s; look it up in the maker's data", w)
			}
		}
	}
}

// hardest gives what a set of stages asks of a bolt at most: the highest torque,
// and all angles since it was last released. Stages for used parts repeat those
// for new ones. The place is that of the highest torque; -1: there is none.
func hardest(joint *pb.Joint, set *pb.StageSet) (bolt.Want, int) {
	want := bolt.Want{
		Thread: joint.GetThread(), Class: joint.GetPropertyClass(), Oiled: joint.GetOiled(), ClampLength: joint.GetClampLengthMm(),
	}
	at := -1
	for k, stage := range set.GetStages() {
		if stage.GetPartState() == pb.Stage_PART_STATE_USED && joint.GetUsedOnce() {
			continue
		}
		switch stage.GetKind() {
		case pb.Stage_KIND_TORQUE, pb.Stage_KIND_CHECK:
			if stage.GetTorqueNm() > want.TorqueNM {
				want.TorqueNM, at = stage.GetTorqueNm(), k
			}
		case pb.Stage_KIND_ANGLE:
			want.AngleDeg += stage.GetAngleDeg()
		case pb.Stage_KIND_BACK_OFF:
			want.AngleDeg = 0
		case pb.Stage_KIND_WAIT, pb.Stage_KIND_UNSPECIFIED:
		}
	}
	return want, at
}
