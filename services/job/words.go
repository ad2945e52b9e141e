package job

import (
	"strings"

	commonv1 "ramprow/proto/ramprow/common/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	torqueauditv1 "ramprow/proto/ramprow/torque_audit/v1"
)

// word turns an enum name into what people read, as in STEP_STATE_DONE to done.
func word(name, prefix string) string {
	return strings.ToLower(strings.ReplaceAll(strings.TrimPrefix(name, prefix), "_", " "))
}

func stateWord(s jobv1.JobState) string   { return word(s.String(), "JOB_STATE_") }
func stepWord(s jobv1.StepState) string   { return word(s.String(), "STEP_STATE_") }
func partsWord(s jobv1.PartsState) string { return word(s.String(), "PARTS_STATE_") }
func auditWord(s jobv1.AuditState) string { return word(s.String(), "AUDIT_STATE_") }
func phaseWord(p jobv1.Phase) string      { return word(p.String(), "PHASE_") }

// unitWord is the unit's usual sign.
func unitWord(u commonv1.Unit) string {
	switch u {
	case commonv1.Unit_UNIT_PIECE:
		return "pc"
	case commonv1.Unit_UNIT_MILLILITRE:
		return "ml"
	case commonv1.Unit_UNIT_GRAM:
		return "g"
	case commonv1.Unit_UNIT_MILLIMETRE:
		return "mm"
	case commonv1.Unit_UNIT_UNSPECIFIED:
	}
	return ""
}

func recheckWord(s torqueauditv1.RecheckState) string { return word(s.String(), "RECHECK_STATE_") }
