package catalogue

import (
	"fmt"

	pb "ramprow/proto/ramprow/catalogue/v1"
)

// duplicateIDs finds things of one kind that share an id.
func duplicateIDs(c *content, found report) {
	m := c.message
	sameID(m.GetFeatures(), "features[%d].id", (*pb.Feature).GetId, found)
	for i, f := range m.GetFeatures() {
		sameID(f.GetValues(), fmt.Sprintf("features[%d].values[%%d].id", i), (*pb.FeatureValue).GetId, found)
	}
	sameID(m.GetStates(), "states[%d].id", (*pb.State).GetId, found)
	sameID(m.GetTools(), "tools[%d].id", (*pb.Tool).GetId, found)
	sameID(m.GetSkills(), "skills[%d].id", (*pb.Skill).GetId, found)
	sameID(m.GetHazards(), "hazards[%d].id", (*pb.Hazard).GetId, found)
	sameID(m.GetPieces(), "pieces[%d].id", (*pb.Piece).GetId, found)
	sameID(m.GetOperations(), "operations[%d].id", (*pb.Operation).GetId, found)
	sameID(m.GetJoints(), "joints[%d].id", (*pb.Joint).GetId, found)
	sameID(m.GetParts(), "parts[%d].number", (*pb.Part).GetNumber, found)
	sameID(m.GetSymptoms(), "symptoms[%d].id", (*pb.Symptom).GetId, found)
	sameID(m.GetCodes(), "codes[%d].code", (*pb.FaultCode).GetCode, found)
	sameID(m.GetTests(), "tests[%d].id", (*pb.Test).GetId, found)
	sameID(m.GetCauses(), "causes[%d].id", (*pb.Cause).GetId, found)
	sameID(m.GetBayKinds(), "bay_kinds[%d].id", (*pb.BayKind).GetId, found)
}

func sameID[T any](list []T, path string, id func(T) string, found report) {
	first := map[string]int{}
	for i, item := range list {
		if at, taken := first[id(item)]; taken {
			found(fmt.Sprintf(path, i), "%q is already the id of %s", id(item), fmt.Sprintf(path, at))
			continue
		}
		first[id(item)] = i
	}
}

// duplicateEntries finds a thing named twice in one list of ids.
func duplicateEntries(c *content, found report) {
	seen := map[[2]string]bool{}
	for _, ref := range c.references {
		// Parts and conditions may be listed twice with different conditions.
		if ref.list == "" {
			continue
		}
		key := [2]string{ref.list, ref.id}
		if seen[key] {
			found(ref.path, "%s %q stands in this list already", ref.kind, ref.id)
		}
		seen[key] = true
	}
}

// unknown finds ids of a kind that the file does not define.
func unknown(k kind) func(*content, report) {
	return func(c *content, found report) {
		for _, ref := range c.references {
			if ref.kind == k && !c.knows(k, ref.id) {
				found(ref.path, "there is no %s %q", k, ref.id)
			}
		}
	}
}

// unknownFeatureValues finds conditions on values that a feature does not have.
func unknownFeatureValues(c *content, found report) {
	for _, condition := range c.conditions {
		feature := c.features[condition.GetFeature()]
		if feature == nil {
			continue
		}
		for i, value := range condition.GetAnyOf() {
			if !hasValue(feature, value) {
				found(fmt.Sprintf("%s.any_of[%d]", condition.path, i), "feature %q has no value %q", feature.GetId(), value)
			}
		}
	}
}

func hasValue(feature *pb.Feature, id string) bool {
	for _, v := range feature.GetValues() {
		if v.GetId() == id {
			return true
		}
	}
	return false
}

// buildDatesReversed finds values that end before they begin.
func buildDatesReversed(c *content, found report) {
	for i, feature := range c.message.GetFeatures() {
		for j, v := range feature.GetValues() {
			from, to := v.GetBuiltFrom(), v.GetBuiltTo()
			if from != nil && to != nil && !from.AsTime().Before(to.AsTime()) {
				found(fmt.Sprintf("features[%d].values[%d].built_to", i, j), "built_to is not after built_from; no car was ever built with it")
			}
		}
	}
}

// designNeverSeen finds designs that no look settles: both alternatives would
// be held for ever.
func designNeverSeen(c *content, found report) {
	for i, feature := range c.message.GetFeatures() {
		if feature.GetKind() == pb.Feature_KIND_DESIGN && len(feature.GetSeenOnceOff()) == 0 {
			found(fmt.Sprintf("features[%d]", i), "name in seen_once_off the pieces behind which one sees which design it is")
		}
	}
}
