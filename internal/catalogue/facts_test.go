package catalogue

import (
	"errors"
	"fmt"
	"math"
	"os"
	"testing"
	"time"

	"pgregory.net/rapid"

	"ramprow/internal/platform/fault"
	pb "ramprow/proto/ramprow/catalogue/v1"
)

func small(t testing.TB) *Catalogue {
	t.Helper()
	c, err := LoadFile("testdata/small.yaml")
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func day(t testing.TB, text string) time.Time {
	t.Helper()
	if text == "" {
		return time.Time{}
	}
	at, err := time.Parse(time.DateOnly, text)
	if err != nil {
		t.Fatal(err)
	}
	return at
}

func TestFactsByBuildDate(t *testing.T) {
	c := small(t)
	for _, tc := range []struct {
		name, built string
		known       map[string]string
		want        string
	}{
		{"nothing known", "", nil, "[{plain 0.5} {grooved 0.5}]"},
		{"before the second", "2019-05-31", nil, "[{plain 1}]"},
		{"first day of the second", "2019-06-01", nil, "[{plain 0.5} {grooved 0.5}]"},
		{"last day of the first", "2019-12-31", nil, "[{plain 0.5} {grooved 0.5}]"},
		{"first day without the first", "2020-01-01", nil, "[{grooved 1}]"},
		{"seen beats the date", "2020-01-01", map[string]string{"rocker": "plain"}, "[{plain 1}]"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			facts, err := c.Facts(tc.known, day(t, tc.built))
			if err != nil {
				t.Fatal(err)
			}
			if got := fmt.Sprint(facts.Values("rocker")); got != tc.want {
				t.Errorf("have %s, want %s", got, tc.want)
			}
		})
	}
}

func TestFactsRefusals(t *testing.T) {
	c := small(t)
	c.features["rocker"].Values[1].BuiltTo = c.features["rocker"].GetValues()[1].GetBuiltFrom() // nothing after 2020 any more
	for _, tc := range []struct {
		reason, built string
		known         map[string]string
	}{
		{"UNKNOWN_FEATURE", "", map[string]string{"colour": "red"}},
		{"UNKNOWN_FEATURE_VALUE", "", map[string]string{"body": "van"}},
		{"BUILD_DATE_NOT_COVERED", "2021-01-01", nil},
	} {
		_, err := c.Facts(tc.known, day(t, tc.built))
		refused, ok := errors.AsType[*fault.Error](err)
		if !ok || refused.Reason != tc.reason || refused.Kind != fault.Invalid || len(refused.Fields) != 1 {
			t.Errorf("want %s, have %v", tc.reason, err)
		}
	}
}

func TestKnownAndOpen(t *testing.T) {
	facts, err := small(t).Facts(map[string]string{"body": "estate"}, time.Time{})
	if err != nil {
		t.Fatal(err)
	}
	if value, known := facts.Known("body"); !known || value != "estate" {
		t.Errorf("body: %q, %v", value, known)
	}
	if _, known := facts.Known("rocker"); known {
		t.Error("the rocker is open")
	}
	if got := fmt.Sprint(facts.Open()); got != "[rocker]" {
		t.Errorf("open: %s", got)
	}
}

// world is a random catalogue of features with random conditions on them.
type world struct {
	c          *Catalogue
	conditions []*pb.Condition
}

func drawWorld(t *rapid.T) world {
	m := &pb.Catalogue{}
	for i := range rapid.IntRange(1, 4).Draw(t, "features") {
		feature := &pb.Feature{Id: fmt.Sprint("f", i)}
		for j := range rapid.IntRange(2, 4).Draw(t, "values") {
			share := rapid.Float64Range(0.01, 1).Draw(t, "share")
			feature.Values = append(feature.Values, &pb.FeatureValue{Id: fmt.Sprint("v", j), Share: share})
		}
		m.Features = append(m.Features, feature)
	}
	w := world{c: newCatalogue(m, nil)}
	for range rapid.IntRange(0, 4).Draw(t, "conditions") {
		feature := rapid.SampledFrom(m.GetFeatures()).Draw(t, "feature")
		condition := &pb.Condition{Feature: feature.GetId()}
		for _, v := range feature.GetValues() {
			if rapid.Bool().Draw(t, "allowed") {
				condition.AnyOf = append(condition.AnyOf, v.GetId())
			}
		}
		w.conditions = append(w.conditions, condition)
	}
	return w
}

// TestHoldsIsExact compares the three-valued answer and the chance with a plain
// count over every car that the facts allow.
func TestHoldsIsExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := drawWorld(t)
		known := map[string]string{}
		for _, feature := range w.c.message.GetFeatures() {
			if rapid.Bool().Draw(t, "known") {
				known[feature.GetId()] = rapid.SampledFrom(feature.GetValues()).Draw(t, "value").GetId()
			}
		}
		facts, err := w.c.Facts(known, time.Time{})
		if err != nil {
			t.Fatal(err)
		}
		answer, chance := countCars(w, facts)
		if got := facts.Holds(w.conditions); got != answer {
			t.Fatalf("holds: %v, by counting %v", got, answer)
		}
		if got := facts.Chance(w.conditions); math.Abs(got-chance) > 1e-9 {
			t.Fatalf("chance: %g, by counting %g", got, chance)
		}
	})
}

// countCars is the dumb second way: every car one by one.
func countCars(w world, facts Facts) (Answer, float64) {
	all := map[string]bool{}
	for _, feature := range w.c.message.GetFeatures() {
		all[feature.GetId()] = true
	}
	cars, _ := w.c.combinations(all)
	meeting, others, chance := 0, 0, 0.0
	for _, car := range cars {
		weight := 1.0
		for feature, value := range car {
			share := 0.0
			for _, v := range facts.Values(feature) {
				if v.Value == value {
					share = v.Share
				}
			}
			weight *= share
		}
		switch {
		case weight == 0: // not possible
		case car.meets(w.conditions):
			meeting++
			chance += weight
		default:
			others++
		}
	}
	switch {
	case others == 0:
		return Yes, chance
	case meeting == 0:
		return No, chance
	}
	return Maybe, chance
}

// TestSharesAddUp: whatever remains of a feature, its shares add up to 1.
func TestSharesAddUp(t *testing.T) {
	c := small(t)
	rapid.Check(t, func(t *rapid.T) {
		built := time.Unix(rapid.Int64Range(1.4e9, 1.8e9).Draw(t, "built"), 0)
		facts, err := c.Facts(nil, built)
		if err != nil {
			t.Fatal(err)
		}
		for _, feature := range c.message.GetFeatures() {
			sum := 0.0
			for _, v := range facts.Values(feature.GetId()) {
				sum += v.Share
			}
			if math.Abs(sum-1) > 1e-9 {
				t.Fatalf("%s built %s: shares add up to %g", feature.GetId(), built, sum)
			}
		}
	})
}

func TestVersionFollowsTheContent(t *testing.T) {
	data, err := os.ReadFile("testdata/small.yaml")
	if err != nil {
		t.Fatal(err)
	}
	again, err := Load("elsewhere.yaml", data)
	if err != nil {
		t.Fatal(err)
	}
	changed, err := Load("small.yaml", append(data, "# a word more\n"...))
	if err != nil {
		t.Fatal(err)
	}
	first := small(t).Version()
	if again.Version() != first {
		t.Errorf("the same bytes give %s and %s", first, again.Version())
	}
	if changed.Version() == first {
		t.Errorf("other bytes give %s as well", first)
	}
	const prefix = "small-one@1+"
	if len(first) != len(prefix)+12 || first[:len(prefix)] != prefix {
		t.Errorf("version %q", first)
	}
}
