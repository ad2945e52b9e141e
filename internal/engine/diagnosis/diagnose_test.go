package diagnosis

import (
	"errors"
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"
)

// bruteForce enumerates all worlds and multiplies plain textbook factors.
func bruteForce(m Model, ev Evidence) (total float64, posterior []float64) {
	posterior = make([]float64, len(m.Causes))
	index := map[string]int{}
	for i, c := range m.Causes {
		index[c.ID] = i
	}
	pinned := map[string]bool{}
	for _, id := range ev.Excluded {
		pinned[id] = false
	}
	for _, id := range ev.Confirmed {
		pinned[id] = true
	}
	for world := range 1 << len(m.Causes) {
		w := 1.0
		for i, c := range m.Causes {
			present := world&(1<<i) != 0
			if want, is := pinned[c.ID]; is && want != present {
				w = 0
			}
			if present {
				w *= c.Prior
			} else {
				w *= 1 - c.Prior
			}
		}
		for _, o := range ev.Observations {
			w *= plainLikelihood(m, o, func(cause string) bool { return world&(1<<index[cause]) != 0 })
		}
		total += w
		for i := range posterior {
			if world&(1<<i) != 0 {
				posterior[i] += w
			}
		}
	}
	for i := range posterior {
		posterior[i] /= total
	}
	return total, posterior
}

func plainLikelihood(m Model, o Observation, present func(string) bool) float64 {
	absent := 1.0
	for _, f := range m.Findings {
		if f.ID == o.Of {
			absent = 1 - f.Leak
			for _, x := range f.Effects {
				if present(x.Cause) {
					absent *= 1 - x.Probability
				}
			}
		}
	}
	for _, t := range m.Tests {
		if t.ID == o.Of {
			absent = 1 - t.FalsePositive
			for _, x := range t.Positive {
				if present(x.Cause) {
					absent *= (1 - x.Probability) / (1 - t.FalsePositive)
				}
			}
		}
	}
	w := o.Weight
	if w == 0 {
		w = 1
	}
	if o.Present {
		return 1 - w + w*(1-absent)
	}
	return 1 - w + w*absent
}

// drawNetwork draws a model of up to 15 causes. Probabilities are whole per cents, so that those of 0
// and 1 occur and the oracle's subtractions from 1 lose nothing to speak of.
func drawNetwork(t *rapid.T) (Model, Evidence) {
	percent := func(p int) float64 { return float64(p) / 100 }
	probability := rapid.Map(rapid.IntRange(0, 100), percent)
	inner := rapid.Map(rapid.IntRange(1, 90), percent)
	var m Model
	var ev Evidence
	causes := rapid.IntRange(1, 15).Draw(t, "causes")
	for i := range causes {
		m.Causes = append(m.Causes, Cause{ID: fmt.Sprint("c", i), Prior: inner.Draw(t, "prior")})
	}
	effects := func(least float64) []Effect {
		var out []Effect
		for i := range causes {
			if rapid.IntRange(0, 2).Draw(t, "tied") == 0 {
				out = append(out, Effect{fmt.Sprint("c", i), max(least, probability.Draw(t, "effect"))})
			}
		}
		return out
	}
	for i := range rapid.IntRange(0, 12).Draw(t, "findings") {
		leak := rapid.OneOf(rapid.Just(0.0), inner).Draw(t, "leak")
		m.Findings = append(m.Findings, Finding{ID: fmt.Sprint("f", i), Leak: leak, Effects: effects(0)})
	}
	for i := range rapid.IntRange(0, 5).Draw(t, "tests") {
		leak := rapid.OneOf(rapid.Just(0.0), inner).Draw(t, "false positive")
		m.Tests = append(m.Tests, Test{ID: fmt.Sprint("t", i), FalsePositive: leak, Positive: effects(leak)})
	}
	observe := func(id string) {
		if rapid.IntRange(0, 3).Draw(t, "seen") > 0 {
			weight := rapid.SampledFrom([]float64{0, 1, 0.3, 0.8}).Draw(t, "weight")
			ev.Observations = append(ev.Observations, Observation{id, rapid.Bool().Draw(t, "present"), weight})
		}
	}
	for _, f := range m.Findings {
		observe(f.ID)
	}
	for _, x := range m.Tests {
		observe(x.ID)
	}
	if rapid.IntRange(0, 3).Draw(t, "exclude") == 0 {
		ev.Excluded = []string{"c0"}
	}
	return m, ev
}

func TestDiagnoseEqualsEnumeration(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		m, ev := drawNetwork(t)
		e, err := New(m)
		if err != nil {
			t.Fatal(err)
		}
		total, want := bruteForce(m, ev)
		got, err := e.Diagnose(ev)
		var impossible *ImpossibleError
		if total == 0 {
			if !errors.As(err, &impossible) || len(impossible.Conflict) == 0 {
				t.Fatalf("want impossible evidence, got %v", err)
			}
			return
		}
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(got.Likelihood-total) > 1e-12 {
			t.Fatalf("likelihood %v, want %v", got.Likelihood, total)
		}
		for _, r := range got.Causes {
			if p := want[e.causes[r.Cause]]; math.Abs(r.Probability-p) > 1e-12*max(1, 1e-3/total) {
				t.Fatalf("cause %s has %v, want %v (evidence %v)", r.Cause, r.Probability, p, total)
			}
		}
	})
}
