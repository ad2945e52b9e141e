package diagnosis

import (
	"math/rand/v2"
	"testing"
)

// Beta-Binomial updating by its definition.
func TestRate(t *testing.T) {
	r := RateFromPrior(.1, 20).Observe(3, 10)
	close(t, "mean", r.Mean(), 5.0/30, 1e-12)
	close(t, "variance", r.Variance(), 5.0*25/(30*30*31), 1e-12)
	if back := r.Observe(-3, -10); back != RateFromPrior(.1, 20) {
		t.Errorf("taking cases back leaves %v", back)
	}
}

func TestLearnFindsTheTruth(t *testing.T) {
	catalogue := Model{
		Causes:   []Cause{{ID: "a", Prior: .5}, {ID: "b", Prior: .1}},
		Findings: []Finding{{ID: "f", Leak: .2, Effects: []Effect{{"a", .5}}}},
		Tests:    []Test{{ID: "t", FalsePositive: .3, Positive: []Effect{{"b", .6}}}},
	}
	r := rand.New(rand.NewPCG(1, 1))
	hit := func(p float64) bool { return r.Float64() < p }
	var cases []Case
	for range 20_000 {
		var c Case
		a, b := hit(.1), hit(.3)
		f, positive := hit(.05), hit(.02)
		if a {
			c.Found = append(c.Found, "a")
			f = hit(.9)
		}
		if b {
			c.Found = append(c.Found, "b")
			positive = hit(.8)
		}
		c.Observations = []Observation{{Of: "f", Present: f}, {Of: "t", Present: positive}}
		cases = append(cases, c)
	}
	m := catalogue.Apply(catalogue.Learn(cases, 10))
	close(t, "prior of a", m.Causes[0].Prior, .1, .02)
	close(t, "prior of b", m.Causes[1].Prior, .3, .02)
	close(t, "leak", m.Findings[0].Leak, .05, .02)
	close(t, "effect", m.Findings[0].Effects[0].Probability, .9, .02)
	close(t, "false positives", m.Tests[0].FalsePositive, .02, .02)
	close(t, "sensitivity", m.Tests[0].Positive[0].Probability, .8, .02)
	if _, err := New(m); err != nil {
		t.Error(err)
	}
	if untouched := catalogue.Apply(catalogue.Learn(nil, 10)); untouched.Causes[0].Prior != .5 {
		t.Errorf("without cases the prior is %v", untouched.Causes[0].Prior)
	}
}
