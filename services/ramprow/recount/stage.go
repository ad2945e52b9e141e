package recount

import (
	"slices"
	"strings"

	jobv1 "ramprow/proto/ramprow/job/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// stage says what a job's time goes by on at a moment, with what there is and who is busy then.
func (s *standing) stage(resources []told, busy map[string]bool) jobv1.Stage {
	switch {
	case len(s.hands()) > 0 && s.again:
		return jobv1.Stage_STAGE_REWORK
	case len(s.hands()) > 0:
		return jobv1.Stage_STAGE_WORK
	case !s.planned:
		return jobv1.Stage_STAGE_DIAGNOSIS
	case s.finished && s.driven:
		return jobv1.Stage_STAGE_BILLING
	case s.finished:
		return jobv1.Stage_STAGE_PROVING
	case s.authorised < s.costs:
		return jobv1.Stage_STAGE_AUTHORITY
	case s.partsWanted && !s.partsIn:
		return jobv1.Stage_STAGE_PARTS
	}
	var bays, people []told
	for _, r := range resources {
		if strings.HasPrefix(r.GetName(), "bays/") && (len(s.plan.GetBayKinds()) == 0 || slices.Contains(s.plan.GetBayKinds(), r.GetType())) {
			bays = append(bays, r)
		}
		if strings.HasPrefix(r.GetName(), "people/") && masters(r, s.plan.GetSkills()) {
			people = append(people, r)
		}
	}
	if s.bay != "" {
		bays = nil // it has one
	}
	switch {
	case len(resources) == 0 && s.bay == "":
		return jobv1.Stage_STAGE_TURN
	case len(resources) == 0:
		return jobv1.Stage_STAGE_STANDING
	case s.bay == "" && len(bays) == 0:
		return jobv1.Stage_STAGE_BAY
	case len(people) == 0:
		return jobv1.Stage_STAGE_TECHNICIAN
	case s.bay == "" && !anyOf(bays, func(r told) bool { return r.open }), !anyOf(people, func(r told) bool { return r.open }):
		return jobv1.Stage_STAGE_CLOSED
	case s.bay == "" && !anyOf(bays, func(r told) bool { return r.open && !busy[r.GetName()] }):
		return jobv1.Stage_STAGE_BAY
	case !anyOf(people, func(r told) bool { return r.open && !busy[r.GetName()] }):
		return jobv1.Stage_STAGE_TECHNICIAN
	case s.bay == "":
		return jobv1.Stage_STAGE_TURN
	}
	return jobv1.Stage_STAGE_STANDING
}

func anyOf(list []told, is func(told) bool) bool {
	return slices.ContainsFunc(list, is)
}

// masters tells whether a person has every skill.
func masters(r told, skills []string) bool {
	for _, skill := range skills {
		if !slices.ContainsFunc(r.GetSkills(), func(q *schedulingv1.Qualification) bool { return q.GetSkill() == skill }) {
			return false
		}
	}
	return true
}
