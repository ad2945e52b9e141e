package catalogue

import (
	"fmt"
	"slices"

	pb "ramprow/proto/ramprow/catalogue/v1"
)

// maxCombinations bounds the combinations of feature values that are looked at
// one by one. Real families stay far below; the bound keeps a mistaken file
// from costing minutes.
const maxCombinations = 1024

// combination is one settled choice of a value for every feature looked at.
type combination map[string]string

// String gives the choice as feature=value, sorted, for messages.
func (k combination) String() string {
	if len(k) == 0 {
		return "every car"
	}
	features := make([]string, 0, len(k))
	for feature, value := range k {
		features = append(features, feature+"="+value)
	}
	slices.Sort(features)
	text := features[0]
	for _, f := range features[1:] {
		text += ", " + f
	}
	return text
}

// meets reports whether all conditions hold in a combination. A condition on a
// feature that is not looked at, or is unknown, is taken to hold.
func (k combination) meets(conditions []*pb.Condition) bool {
	for _, condition := range conditions {
		value, settled := k[condition.GetFeature()]
		if settled && !slices.Contains(condition.GetAnyOf(), value) {
			return false
		}
	}
	return true
}

// combinations gives every choice of values for the features that are named; ok
// is false when there are more than maxCombinations.
func (c *Catalogue) combinations(features map[string]bool) (all []combination, ok bool) {
	all = []combination{{}}
	for _, feature := range c.message.GetFeatures() {
		if !features[feature.GetId()] || len(feature.GetValues()) == 0 {
			continue
		}
		if len(all)*len(feature.GetValues()) > maxCombinations {
			return nil, false
		}
		var next []combination
		for _, before := range all {
			for _, v := range feature.GetValues() {
				next = append(next, before.with(feature.GetId(), v.GetId()))
			}
		}
		all = next
	}
	return all, true
}

func (k combination) with(feature, value string) combination {
	next := make(combination, len(k)+1)
	for f, v := range k {
		next[f] = v
	}
	next[feature] = value
	return next
}

// features names the features that conditions speak of.
func featuresOf(lists ...[]*pb.Condition) map[string]bool {
	named := map[string]bool{}
	for _, conditions := range lists {
		for _, condition := range conditions {
			named[condition.GetFeature()] = true
		}
	}
	return named
}

// tooManyCombinations finds files whose features combine in more ways than are
// checked one by one.
func tooManyCombinations(c *content, found report) {
	if c.outcomes == nil {
		found("features", "the features that teardown depends on combine in more than %d ways; split the family into two catalogues", maxCombinations)
	}
	for i, joint := range c.message.GetJoints() {
		if _, ok := c.combinations(jointFeatures(joint)); !ok {
			found(fmt.Sprintf("joints[%d]", i), "its conditions combine in more than %d ways", maxCombinations)
		}
	}
}
