package catalogue

import "fmt"

// rule is one check of a catalogue's content. Its name is stable: people look
// it up, and programs tell mistakes apart by it.
type rule struct {
	name     string
	severity Severity
	check    func(*content, report)
}

// report takes one finding at a field.
type report func(field, format string, args ...any)

// content is what the rules look at: the catalogue, and what several of them
// need, worked out once.
type content struct {
	*Catalogue
	references []reference
	conditions []placedCondition
	// outcomes is what can be reached on every kind of car; nil if there are
	// too many kinds.
	outcomes []*outcome
}

// rules lists every check of content. A new one needs a fixture of the same
// name in testdata/rules; a test fails without.
func rules() []rule {
	return []rule{
		{"DUPLICATE_ID", Error, duplicateIDs},
		{"DUPLICATE_ENTRY", Error, duplicateEntries},
		{"UNKNOWN_PIECE", Error, unknown(kindPiece)},
		{"UNKNOWN_STATE", Error, unknown(kindState)},
		{"UNKNOWN_TOOL", Error, unknown(kindTool)},
		{"UNKNOWN_SKILL", Error, unknown(kindSkill)},
		{"UNKNOWN_HAZARD", Error, unknown(kindHazard)},
		{"UNKNOWN_JOINT", Error, unknown(kindJoint)},
		{"UNKNOWN_PART", Error, unknown(kindPart)},
		{"UNKNOWN_BAY_KIND", Error, unknown(kindBayKind)},
		{"UNKNOWN_SYMPTOM", Error, unknown(kindSymptom)},
		{"UNKNOWN_CODE", Error, unknown(kindCode)},
		{"UNKNOWN_CAUSE", Error, unknown(kindCause)},
		{"UNKNOWN_FEATURE", Error, unknown(kindFeature)},
		{"UNKNOWN_FEATURE_VALUE", Error, unknownFeatureValues},
		{"BUILD_DATES_REVERSED", Error, buildDatesReversed},
		{"DESIGN_NEVER_SEEN", Warning, designNeverSeen},
		{"TOO_MANY_COMBINATIONS", Error, tooManyCombinations},

		{"STATE_NEEDS_ITSELF", Error, stateNeedsItself},
		{"STATE_CYCLE", Error, stateCycle},
		{"STATE_NEEDED_AND_FORBIDDEN", Error, stateNeededAndForbidden},
		{"TOOL_LEFT_ON_NOT_USED", Error, toolLeftOnNotUsed},

		{"EFFORT_ZERO", Error, effortZero},
		{"OPERATION_DOES_NOTHING", Error, operationDoesNothing},
		{"SHORT_CUT_WITHOUT_RISK", Error, shortCutWithoutRisk},
		{"BLOCKING_CYCLE", Error, blockingCycle},
		{"OPERATION_UNREACHABLE", Error, operationUnreachable},
		{"TARGET_UNREACHABLE", Error, targetUnreachable},

		{"TOOL_RANGE", Error, toolRange},
		{"JOINT_WITHOUT_STAGES", Error, jointWithoutStages},
		{"STAGES_MISSING", Error, stagesMissing},
		{"STAGES_AMBIGUOUS", Error, stagesAmbiguous},
		{"STAGE_WITHOUT_VALUE", Error, stageWithoutValue},
		{"STAGE_TORQUE_NOT_MEASURABLE", Error, stageTorqueNotMeasurable},
		{"STAGE_ANGLE_NOT_MEASURABLE", Error, stageAngleNotMeasurable},
		{"STAGE_FASTENER", Error, stageFastener},
		{"PATTERN_ORDER", Error, patternOrder},
		{"TORQUE_IMPLAUSIBLE", Warning, torqueImplausible},
		{"JOINT_NEVER_UNDONE", Warning, jointNeverUndone},

		{"PIECE_RENEWED_BY_NOTHING", Error, pieceRenewedByNothing},
		{"SUPERSESSION_CYCLE", Error, supersessionCycle},
		{"PART_UNUSED", Warning, partUnused},

		{"CAUSE_WITHOUT_SIGNS", Error, causeWithoutSigns},
		{"SIGN_WITHOUT_CAUSE", Warning, signWithoutCause},
		{"TEST_POSITIVE_FOR_NOTHING", Error, testPositiveForNothing},
		{"TEST_BELOW_CHANCE", Error, testBelowChance},
	}
}

// checkContent runs every rule.
func checkContent(c *Catalogue, places *places) []Problem {
	named := collect(c.message)
	about := &content{Catalogue: c, references: named.references, conditions: named.conditions, outcomes: c.outcomes()}
	var problems []Problem
	for _, r := range rules() {
		r.check(about, func(field, format string, args ...any) {
			problems = append(problems, places.problem(field, r.name, r.severity, fmt.Sprintf(format, args...)))
		})
	}
	return problems
}
