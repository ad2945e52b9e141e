package diagnosis

import (
	"fmt"
	"math/rand/v2"
	"testing"
)

// workshopModel draws a model of the size of a real catalogue: causes with 1 to 5 findings each,
// tests with some error, three nested openings.
func workshopModel(causes, findings, tests int, seed uint64) Model {
	r := rand.New(rand.NewPCG(seed, 1))
	m := Model{Openings: []Opening{
		{ID: "cover", Title: "Cover", Minutes: 15},
		{ID: "head", Title: "Head", Minutes: 90, Inside: "cover"},
		{ID: "wheel", Title: "Wheel", Minutes: 10},
	}}
	places := []string{"", "", "cover", "head", "wheel"}
	place := func() string { return places[r.IntN(len(places))] }
	for i := range causes {
		id := fmt.Sprint("c", i)
		m.Causes = append(m.Causes, Cause{
			ID: id, Title: "Cause " + id, Prior: .002 + .05*r.Float64(),
			Repair: Repair{Title: "Mend " + id, Minutes: 10 + 80*r.Float64(), Behind: place()},
		})
	}
	effects := func(n int, least float64) []Effect {
		var out []Effect
		for _, i := range r.Perm(causes)[:n] {
			out = append(out, Effect{fmt.Sprint("c", i), least + (.98-least)*r.Float64()})
		}
		return out
	}
	for i := range findings {
		m.Findings = append(m.Findings, Finding{ID: fmt.Sprint("f", i), Leak: .001 + .01*r.Float64(), Effects: effects(2+r.IntN(4), .2)})
	}
	for i := range tests {
		id := fmt.Sprint("t", i)
		m.Tests = append(m.Tests, Test{
			ID: id, Title: "Test " + id, Minutes: 2 + 15*r.Float64(), FalsePositive: .1 * r.Float64(),
			Positive: effects(1+r.IntN(4), .6), Behind: place(),
		})
	}
	return m
}

func evidenceOf(m Model, present int) Evidence {
	var ev Evidence
	for i, f := range m.Findings {
		if i < present || i >= len(m.Findings)/2 {
			ev.Observations = append(ev.Observations, Observation{Of: f.ID, Present: i < present})
		}
	}
	return ev
}

func BenchmarkDiagnose(b *testing.B) {
	for _, size := range []struct{ causes, findings, present int }{{18, 14, 3}, {18, 14, 6}, {60, 40, 8}, {200, 100, 12}} {
		m := workshopModel(size.causes, size.findings, 0, 1)
		e, err := New(m)
		if err != nil {
			b.Fatal(err)
		}
		ev := evidenceOf(m, size.present)
		b.Run(fmt.Sprintf("causes=%d/present=%d", size.causes, size.present), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				if _, err := e.Diagnose(ev); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkNext(b *testing.B) {
	for _, size := range []struct{ causes, tests int }{{5, 6}, {10, 12}, {18, 22}, {40, 40}} {
		m := workshopModel(size.causes, size.causes, size.tests, 1)
		e, err := New(m)
		if err != nil {
			b.Fatal(err)
		}
		ev := evidenceOf(m, 2)
		b.Run(fmt.Sprintf("causes=%d/tests=%d", size.causes, size.tests), func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				a, err := e.Next(ev)
				if err != nil {
					b.Fatal(err)
				}
				b.ReportMetric(a.ExpectedMinutes/a.ExpectedAtLeast, "gap")
			}
		})
	}
}
