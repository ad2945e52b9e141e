package job

import "testing"

// BenchmarkPlan is what a confirmed diagnosis costs the site's writer.
func BenchmarkPlan(b *testing.B) {
	for _, cause := range []string{"coil-4", "follower-4"} {
		b.Run(cause, func(b *testing.B) {
			s := opened(b)
			b.ReportAllocs()
			for b.Loop() {
				if _, err := planFor(s.job(), loaded()[car], []string{cause}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// BenchmarkDiagnose is one question for causes and next actions, with the car's
// fault model at hand and without.
func BenchmarkDiagnose(b *testing.B) {
	c := loaded()[car]
	ask := func(b *testing.B, cars func() *diagnosers) {
		s := opened(b)
		b.ReportAllocs()
		for b.Loop() {
			d, err := cars().of(s.job(), c, taught{})
			if err != nil {
				b.Fatal(err)
			}
			if _, err := diagnose(s.job(), c, d); err != nil {
				b.Fatal(err)
			}
		}
	}
	b.Run("kept", func(b *testing.B) { kept := &diagnosers{}; ask(b, func() *diagnosers { return kept }) })
	b.Run("new", func(b *testing.B) { ask(b, func() *diagnosers { return &diagnosers{} }) })
}

// BenchmarkWhileOpen is what suggestions add to a preview.
func BenchmarkWhileOpen(b *testing.B) {
	s, c := opened(b), loaded()[car]
	d, err := (&diagnosers{}).of(s.job(), c, taught{})
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if _, err := whileOpen(s.job(), c, []string{"follower-4"}, d); err != nil {
			b.Fatal(err)
		}
	}
}
