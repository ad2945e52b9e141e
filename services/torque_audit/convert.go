package torqueaudit

import (
	"fmt"
	"slices"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/engine/fastening"
	cataloguev1 "ramprow/proto/ramprow/catalogue/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	pb "ramprow/proto/ramprow/torque_audit/v1"
)

// stagesOf gives the stages in force; false while it depends on a design that
// nobody has seen yet. Designs that are tightened alike need no deciding.
func stagesOf(d *jobv1.JointDue) ([]*cataloguev1.Stage, bool) {
	designs := d.GetDesigns()
	if len(designs) == 0 {
		return nil, true
	}
	for _, other := range designs[1:] {
		if !slices.EqualFunc(designs[0].GetStages(), other.GetStages(), func(a, b *cataloguev1.Stage) bool { return proto.Equal(a, b) }) {
			return nil, false
		}
	}
	return designs[0].GetStages(), true
}

// sameWork tells whether two descriptions ask for the same tightening.
func sameWork(a, b *jobv1.JointDue) bool {
	before, known := stagesOf(a)
	after, knownToo := stagesOf(b)
	return known == knownToo && a.GetFasteners() == b.GetFasteners() && slices.Equal(a.GetOrder(), b.GetOrder()) &&
		a.GetSoftGasket() == b.GetSoftGasket() && ruleOf(a.GetDecisionRule()) == ruleOf(b.GetDecisionRule()) &&
		a.GetUsedOnce() == b.GetUsedOnce() && a.GetThread() == b.GetThread() &&
		slices.EqualFunc(before, after, func(x, y *cataloguev1.Stage) bool { return proto.Equal(x, y) })
}

// begin gives a fresh track, or says why the joint cannot be tightened yet.
func begin(d *jobv1.JointDue) (*fastening.Track, string) {
	stages, known := stagesOf(d)
	if !known {
		return nil, fmt.Sprintf("its stages depend on %s; report the design found", d.GetDesigns()[0].GetFeature())
	}
	track, err := fastening.Begin(jointOf(d, stages))
	if err != nil {
		return nil, err.Error() + "; have the plan revised or a departure signed"
	}
	return track, ""
}

func jointOf(d *jobv1.JointDue, stages []*cataloguev1.Stage) fastening.Joint {
	j := fastening.Joint{
		ID: d.GetJoint(), Title: d.GetTitle(), Fasteners: int(d.GetFasteners()), Order: ints(d.GetOrder()),
		SoftGasket: d.GetSoftGasket(), Parts: fastening.UsedParts, Rule: ruleOf(d.GetDecisionRule()),
	}
	if d.GetUsedOnce() {
		j.Parts = fastening.NewParts
	}
	for _, s := range stages {
		j.Stages = append(j.Stages, stageOf(s))
	}
	return j
}

// ruleOf is the careful rule unless the catalogue says otherwise.
func ruleOf(r cataloguev1.DecisionRule) fastening.Rule {
	if r == cataloguev1.DecisionRule_DECISION_RULE_SIMPLE {
		return fastening.Simple
	}
	return fastening.Guarded
}

func stageOf(s *cataloguev1.Stage) fastening.Stage {
	return fastening.Stage{
		Kind:          stageKinds[s.GetKind()],
		Torque:        fastening.Window{Target: s.GetTorqueNm(), Minus: s.GetTorqueMinusNm(), Plus: s.GetTorquePlusNm()},
		Angle:         fastening.Window{Target: s.GetAngleDeg(), Minus: s.GetAngleMinusDeg(), Plus: s.GetAnglePlusDeg()},
		TorqueFloor:   s.GetTorqueFloorNm(),
		RestartIfOver: s.GetRestartIfOver(),
		Fasteners:     ints(s.GetFasteners()),
		Passes:        int(s.GetPasses()),
		Verify:        s.GetVerify(),
		Parts:         partStates[s.GetPartState()],
		Tools:         s.GetTools(),
		BarredTools:   s.GetBarredTools(),
		Wait:          s.GetWait().AsDuration(),
	}
}

var stageKinds = map[cataloguev1.Stage_Kind]fastening.StageKind{
	cataloguev1.Stage_KIND_TORQUE:   fastening.Torque,
	cataloguev1.Stage_KIND_ANGLE:    fastening.Angle,
	cataloguev1.Stage_KIND_BACK_OFF: fastening.BackOff,
	cataloguev1.Stage_KIND_WAIT:     fastening.Wait,
	cataloguev1.Stage_KIND_CHECK:    fastening.Check,
}

var partStates = map[cataloguev1.Stage_PartState]fastening.PartState{
	cataloguev1.Stage_PART_STATE_NEW:  fastening.NewParts,
	cataloguev1.Stage_PART_STATE_USED: fastening.UsedParts,
}

var wrenchKinds = map[pb.WrenchKind]fastening.ToolKind{
	pb.WrenchKind_WRENCH_KIND_SETTING:      fastening.SettingWrench,
	pb.WrenchKind_WRENCH_KIND_INDICATING:   fastening.IndicatingWrench,
	pb.WrenchKind_WRENCH_KIND_TORQUE_ANGLE: fastening.TorqueAngle,
	pb.WrenchKind_WRENCH_KIND_ANGLE:        fastening.AngleGauge,
	pb.WrenchKind_WRENCH_KIND_GUN:          fastening.Gun,
}

// verdicts are the engine's, in its numbering.
var verdicts = map[fastening.Verdict]pb.Verdict{
	fastening.Conforms:         pb.Verdict_VERDICT_CONFORMS,
	fastening.InsideNotProved:  pb.Verdict_VERDICT_INSIDE_NOT_PROVED,
	fastening.OutsideNotProved: pb.Verdict_VERDICT_OUTSIDE_NOT_PROVED,
	fastening.DoesNotConform:   pb.Verdict_VERDICT_DOES_NOT_CONFORM,
}

// readingOf gives a judged reading as the engine follows it.
func readingOf(r *pb.Reading) fastening.Reading {
	reading := fastening.Reading{
		Fastener: int(r.GetFastener()), Stage: int(r.GetStage()), TorqueNM: r.GetTorqueNm(), AngleDeg: r.GetAngleDeg(),
		Moved: r.GetMoved(), At: r.GetAt().AsTime(), Counts: r.GetCounts(),
	}
	for engine, published := range verdicts {
		if published == r.GetVerdict() {
			reading.Verdict = engine
		}
	}
	return reading
}

// toolOf gives a wrench as the engine judges it.
func (w *wrench) toolOf() fastening.Tool {
	t := fastening.Tool{
		Name: w.tool.GetTitle(), Class: w.tool.GetTool(), Kind: wrenchKinds[w.tool.GetKind()],
		MinNM: w.tool.GetMinNm(), MaxNM: w.tool.GetMaxNm(), Deviation: w.tool.GetDeviationPercent() / 100,
		Cycles:  int(w.cycles), //nolint:gosec // far below 2^63
		Retired: w.tool.GetRetired(),
	}
	for _, c := range w.checks {
		check := fastening.ToolCheck{At: c.GetAt().AsTime(), Passed: c.GetPassed()}
		if c.GetCalibrationDue() != nil && c.GetPassed() {
			check.CalibrationDue = c.GetCalibrationDue().AsTime()
		}
		t.Checks = append(t.Checks, check)
	}
	return t
}

func ints(list []uint32) []int {
	out := make([]int, len(list))
	for i, v := range list {
		out[i] = int(v)
	}
	return out
}
