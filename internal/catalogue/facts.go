package catalogue

import (
	"slices"
	"time"

	"ramprow/internal/platform/fault"
	pb "ramprow/proto/ramprow/catalogue/v1"
)

// Possible is a value that a feature of the car may still have.
type Possible struct {
	Value string
	Share float64 // probability in [0, 1]; the shares of one feature add up to 1
}

// Facts is what is known of one car: for every feature the values that remain.
type Facts struct {
	possible map[string][]Possible
}

// Answer is a three-valued truth.
type Answer int

// The answers. The zero value is Maybe: nothing is known before somebody looks.
const (
	Maybe Answer = iota
	No
	Yes
)

// String gives the word.
func (a Answer) String() string {
	return [...]string{"maybe", "no", "yes"}[a]
}

// Facts resolves what is known of a car: its known features (feature id to
// value id) and when it was built (zero if unknown). What somebody has seen
// beats the build date, because engines get exchanged. The error is a
// *fault.Error: an unknown feature or value, or a date that no value covers.
func (c *Catalogue) Facts(known map[string]string, built time.Time) (Facts, error) {
	for feature := range known {
		if c.features[feature] == nil {
			return Facts{}, fault.New(fault.Invalid, "UNKNOWN_FEATURE",
				"the catalogue %s knows no feature %q", c.version, feature).WithField("features."+feature, "unknown feature")
		}
	}
	facts := Facts{possible: make(map[string][]Possible, len(c.features))}
	for _, feature := range c.message.GetFeatures() {
		values, err := c.remaining(feature, known[feature.GetId()], built)
		if err != nil {
			return Facts{}, err
		}
		facts.possible[feature.GetId()] = values
	}
	return facts, nil
}

// remaining gives the values that one feature can have.
func (c *Catalogue) remaining(feature *pb.Feature, known string, built time.Time) ([]Possible, error) {
	var values []Possible
	for _, v := range feature.GetValues() {
		if v.GetId() == known || known == "" && builtWithin(v, built) {
			values = append(values, Possible{Value: v.GetId(), Share: v.GetShare()})
		}
	}
	if len(values) == 0 && known != "" {
		return nil, fault.New(fault.Invalid, "UNKNOWN_FEATURE_VALUE", "%s has no value %q", feature.GetTitle(), known).
			WithField("features."+feature.GetId(), "unknown value %q", known)
	}
	if len(values) == 0 {
		return nil, fault.New(fault.Invalid, "BUILD_DATE_NOT_COVERED",
			"no %s was built on %s; check the build date or say which one the car has", feature.GetTitle(), built.Format(time.DateOnly)).
			WithField("built", "outside the dates of %s", feature.GetId())
	}
	return normalised(values), nil
}

// builtWithin reports whether a value was built on a date; an unknown date or a
// missing bound excludes nothing.
func builtWithin(v *pb.FeatureValue, built time.Time) bool {
	if built.IsZero() {
		return true
	}
	if from := v.GetBuiltFrom(); from != nil && built.Before(from.AsTime()) {
		return false
	}
	to := v.GetBuiltTo()
	return to == nil || built.Before(to.AsTime())
}

// normalised makes the shares add up to 1. Values without any share among them
// are equally probable: the file says nothing that tells them apart.
func normalised(values []Possible) []Possible {
	sum := 0.0
	for _, v := range values {
		sum += v.Share
	}
	for i := range values {
		if sum > 0 {
			values[i].Share /= sum
		} else {
			values[i].Share = 1 / float64(len(values))
		}
	}
	return values
}

// Values lists what a feature can still be, in the catalogue's order.
func (f Facts) Values(feature string) []Possible { return slices.Clone(f.possible[feature]) }

// Known gives the value of a feature that is settled.
func (f Facts) Known(feature string) (string, bool) {
	values := f.possible[feature]
	if len(values) != 1 {
		return "", false
	}
	return values[0].Value, true
}

// Open lists the features that are not settled, sorted.
func (f Facts) Open() []string {
	var open []string
	for feature, values := range f.possible {
		if len(values) > 1 {
			open = append(open, feature)
		}
	}
	slices.Sort(open)
	return open
}

// Holds answers whether all conditions hold for the car.
func (f Facts) Holds(conditions []*pb.Condition) Answer {
	answer := Yes
	for feature, meeting := range f.meeting(conditions) {
		switch len(meeting) {
		case 0:
			return No
		case len(f.possible[feature]):
		default:
			answer = Maybe
		}
	}
	return answer
}

// Chance gives the probability in [0, 1] that all conditions hold, features
// being independent of each other.
func (f Facts) Chance(conditions []*pb.Condition) float64 {
	chance := 1.0
	for _, meeting := range f.meeting(conditions) {
		share := 0.0
		for _, v := range meeting {
			share += v.Share
		}
		chance *= share
	}
	return min(1, chance)
}

// meeting gives, for every feature that the conditions speak of, the possible
// values that meet all of them. Conditions on one feature are taken together:
// each by itself may be open while both can never hold.
func (f Facts) meeting(conditions []*pb.Condition) map[string][]Possible {
	meeting := map[string][]Possible{}
	for _, condition := range conditions {
		feature := condition.GetFeature()
		left, begun := meeting[feature]
		if !begun {
			left = f.possible[feature]
		}
		var kept []Possible
		for _, v := range left {
			if slices.Contains(condition.GetAnyOf(), v.Value) {
				kept = append(kept, v)
			}
		}
		meeting[feature] = kept
	}
	return meeting
}
