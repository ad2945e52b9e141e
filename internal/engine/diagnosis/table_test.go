package diagnosis

import (
	"errors"
	"testing"
)

// NO-1: inhibitors cold .6, flu .2, malaria .1, as in the table of AIMA for fever; NO-2: leaky noisy-OR.
func TestNoisyOr(t *testing.T) {
	fever := Model{
		Causes:   []Cause{{ID: "cold", Prior: .5}, {ID: "flu", Prior: .5}, {ID: "malaria", Prior: .5}},
		Findings: []Finding{{ID: "fever", Effects: []Effect{{"cold", .4}, {"flu", .8}, {"malaria", .9}}}},
	}
	leaky := Model{
		Causes:   []Cause{{ID: "first", Prior: .5}, {ID: "second", Prior: .5}},
		Findings: []Finding{{ID: "fever", Leak: .1, Effects: []Effect{{"first", .2}, {"second", .4}}}},
	}
	tests := []struct {
		name    string
		model   Model
		present []string
		want    float64
	}{
		{"none", fever, nil, 0},
		{"malaria", fever, []string{"malaria"}, .9},
		{"flu", fever, []string{"flu"}, .8},
		{"flu and malaria", fever, []string{"flu", "malaria"}, .98},
		{"cold", fever, []string{"cold"}, .4},
		{"cold and malaria", fever, []string{"cold", "malaria"}, .94},
		{"cold and flu", fever, []string{"cold", "flu"}, .88},
		{"all", fever, []string{"cold", "flu", "malaria"}, .988},
		{"leak alone", leaky, nil, .10},
		{"leak and first", leaky, []string{"first"}, .28},
		{"leak and second", leaky, []string{"second"}, .46},
		{"leak and both", leaky, []string{"first", "second"}, .568},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			ev := Evidence{Confirmed: tt.present}
			for _, c := range tt.model.Causes {
				confirmed := false
				for _, id := range tt.present {
					confirmed = confirmed || id == c.ID
				}
				if !confirmed {
					ev.Excluded = append(ev.Excluded, c.ID)
				}
			}
			e := mustEngine(t, tt.model)
			without, err := e.Diagnose(ev)
			if err != nil {
				t.Fatal(err)
			}
			ev.Observations = []Observation{{Of: "fever", Present: true}}
			with, err := e.Diagnose(ev)
			var impossible *ImpossibleError
			if tt.want == 0 {
				if !errors.As(err, &impossible) {
					t.Errorf("got %v, want impossible", err)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			close(t, "probability", with.Likelihood/without.Likelihood, tt.want, 1e-12)
		})
	}
}

// SB-1: prevalence 8 %, sensitivity 75 %, specificity 96 % (inputs of the OpenMarkov tutorial); SB-2:
// prior 1 %, hit rate 80 %, false alarms 9.6 % (from memory). Values recomputed.
func TestSequentialBayes(t *testing.T) {
	one := func(prior, sensitivity, falsePositive float64) *Engine {
		return mustEngine(t, Model{
			Causes: []Cause{{ID: "c", Prior: prior}},
			Tests:  []Test{{ID: "t", FalsePositive: falsePositive, Positive: []Effect{{"c", sensitivity}}}},
		})
	}
	sb1, sb2 := one(.08, .75, .04), one(.01, .80, .096)
	tests := []struct {
		name    string
		engine  *Engine
		results []bool
		want    float64
	}{
		{"SB-1 positive", sb1, []bool{true}, .619835},
		{"SB-1 negative", sb1, []bool{false}, 1 - .977857},
		{"SB-2 +", sb2, []bool{true}, .077640},
		{"SB-2 ++", sb2, []bool{true, true}, .412269},
		{"SB-2 +-", sb2, []bool{true, false}, .018282},
		{"SB-2 -+", sb2, []bool{false, true}, .018282},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			var ev Evidence
			for _, r := range tt.results {
				ev.Observations = append(ev.Observations, Observation{Of: "t", Present: r})
			}
			d, err := tt.engine.Diagnose(ev)
			if err != nil {
				t.Fatal(err)
			}
			close(t, "posterior", d.Causes[0].Probability, tt.want, 1e-6)
		})
	}
}

func TestConflictIsSmallest(t *testing.T) {
	m := Model{
		Causes: []Cause{{ID: "a", Prior: .1}, {ID: "b", Prior: .1}},
		Findings: []Finding{
			{ID: "P0001", Leak: 0, Effects: []Effect{{"a", 1}}},
			{ID: "P0002", Leak: .1, Effects: []Effect{{"b", .5}}},
			{ID: "rattle", Leak: 0, Effects: []Effect{{"a", 1}}},
		},
	}
	ev := Evidence{Observations: []Observation{
		{Of: "P0001", Present: true}, {Of: "P0002", Present: true}, {Of: "rattle", Present: false},
	}}
	_, err := mustEngine(t, m).Diagnose(ev)
	var impossible *ImpossibleError
	if !errors.As(err, &impossible) {
		t.Fatalf("got %v", err)
	}
	if len(impossible.Conflict) != 2 || impossible.Conflict[0] != "P0001 present" || impossible.Conflict[1] != "rattle absent" {
		t.Errorf("conflict %q", impossible.Conflict)
	}
	ev.Observations = ev.Observations[:2] // taken back
	if _, err := mustEngine(t, m).Diagnose(ev); err != nil {
		t.Errorf("after taking it back: %v", err)
	}
}

// TestWeightOfStoredCode: a code of less weight moves the posterior less, and explanations say for whom it speaks.
func TestWeightOfStoredCode(t *testing.T) {
	e := mustEngine(t, Model{
		Causes:   []Cause{{ID: "a", Title: "A", Prior: .1}, {ID: "b", Title: "B", Prior: .1}},
		Findings: []Finding{{ID: "P0001", Title: "code", Leak: .01, Effects: []Effect{{"a", .9}}}},
	})
	last := .1
	for _, w := range []float64{.2, .5, .8, 1} {
		d, err := e.Diagnose(Evidence{Observations: []Observation{{Of: "P0001", Present: true, Weight: w}}})
		if err != nil {
			t.Fatal(err)
		}
		if d.Causes[0].Cause != "a" || d.Causes[0].Probability <= last {
			t.Errorf("weight %v: %+v, not more than %v", w, d.Causes[0], last)
		}
		last = d.Causes[0].Probability
		if len(d.Causes[0].For) != 1 || d.Causes[0].For[0].Of != "P0001" || len(d.Causes[1].For)+len(d.Causes[1].Against) != 0 {
			t.Errorf("explanations %+v", d.Causes)
		}
	}
}
