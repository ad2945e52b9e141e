package job

import (
	"flag"
	"math"
	"strconv"
	"testing"

	"pgregory.net/rapid"

	jobv1 "ramprow/proto/ramprow/job/v1"
)

// TestAnyEvidenceCanBeWeighed records anything that the catalogue knows, of any
// car: the answer is ranked causes or a contradiction, never a failure.
func TestAnyEvidenceCanBeWeighed(t *testing.T) {
	draws(t, 25) // to look ahead costs much
	kept := &diagnosers{}
	rapid.Check(t, func(r *rapid.T) {
		c := loaded()[rapid.SampledFrom([]string{car, van}).Draw(r, "family")]
		j := &Job{Vehicle: &jobv1.Vehicle{Features: rapid.SampledFrom(combinations(c.Message().GetFeatures())).Draw(r, "known")}}
		report := &jobv1.CodeReport{Moment: jobv1.ReadingMoment_READING_MOMENT_INTAKE}
		for range rapid.IntRange(0, 3).Draw(r, "items") {
			report.Codes = append(report.Codes, &jobv1.CodeReading{Code: rapid.SampledFrom(c.Message().GetCodes()).Draw(r, "code").GetCode()})
			j.Symptoms = append(j.Symptoms[:0], &jobv1.SymptomNote{Symptom: rapid.SampledFrom(c.Message().GetSymptoms()).Draw(r, "symptom").GetId(), Present: true})
			test := rapid.SampledFrom(c.Message().GetTests()).Draw(r, "test").GetId()
			j.Tests = append(j.Tests[:0], &jobv1.TestRecord{Test: test, Outcome: jobv1.TestOutcome(rapid.Int32Range(1, 2).Draw(r, "outcome"))})
			j.Findings = append(j.Findings[:0], &jobv1.Finding{Kind: notFound, Cause: rapid.SampledFrom(c.Message().GetCauses()).Draw(r, "cause").GetId()})
		}
		j.Reports = []*jobv1.CodeReport{report}
		d, err := kept.of(j, c, taught{})
		if err != nil {
			r.Fatal(err)
		}
		got, err := diagnose(j, c, d)
		if err != nil {
			r.Fatal(err)
		}
		if got.GetContradiction() != "" {
			return
		}
		before := math.Inf(1)
		for _, cause := range got.GetCauses() {
			if cause.GetProbability() > before || cause.GetProbability() < 0 || cause.GetProbability() > 1 {
				r.Fatalf("%v after %g", cause, before)
			}
			before = cause.GetProbability()
		}
	})
	if len(kept.made) > maxDiagnosers || len(kept.made) != len(kept.used) {
		t.Errorf("%d engines are kept under %d keys", len(kept.made), len(kept.used))
	}
}

// draws has rapid draw so often in this test, unless the command line says how often.
func draws(t *testing.T, times int) {
	t.Helper()
	checks := flag.Lookup("rapid.checks")
	if checks.Value.String() != checks.DefValue {
		return
	}
	if err := checks.Value.Set(strconv.Itoa(times)); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = checks.Value.Set(checks.DefValue) })
}

// TestEnginesAreKept builds one for each car, and forgets what was used longest ago.
func TestEnginesAreKept(t *testing.T) {
	kept := &diagnosers{}
	of := func(km int64) *diagnoser {
		d, err := kept.of(&Job{Vehicle: &jobv1.Vehicle{OdometerKm: km}}, loaded()[van], taught{})
		if err != nil {
			t.Fatal(err)
		}
		return d
	}
	first := of(0)
	for km := int64(1); km < maxDiagnosers; km++ {
		of(km)
	}
	if of(0) != first {
		t.Fatal("built twice")
	}
	of(maxDiagnosers) // one too many: the engine for 1 km goes, the one just used stays
	if of(0) != first || len(kept.made) != maxDiagnosers {
		t.Errorf("%d are kept", len(kept.made))
	}
}
