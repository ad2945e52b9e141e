package simulate

import (
	"slices"
	"testing"

	"ramprow/internal/platform/sitelog"
)

// seedsToFind is within how many days a planted defect must show.
const seedsToFind = 2000

// Each defect is planted between a replica and its log, so that the writer under
// test stays as it is. The simulator must find it, by a rule that speaks of it.
func TestPlantedDefectsAreFound(t *testing.T) {
	for name, planted := range map[string]struct {
		plant func() wrapping
		rules []string
	}{
		"no fencing": {
			plant: func() wrapping { return func(_ string, log sitelog.Log) sitelog.Log { return unfenced{log} } },
			rules: []string{"chain", "once"},
		},
		"answer before commit": {
			plant: func() wrapping { return func(_ string, log sitelog.Log) sitelog.Log { return hasty{log} } },
			rules: []string{"once"},
		},
		"position outside the commit": {
			plant: func() wrapping {
				kept := newBookmarks()
				return func(replica string, log sitelog.Log) sitelog.Log { return bookmarked{log, kept.of(replica)} }
			},
			rules: []string{"followers"},
		},
		"request_id forgotten after a restart": {
			plant: func() wrapping { return func(_ string, log sitelog.Log) sitelog.Log { return newForgetful(log) } },
			rules: []string{"once"},
		},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			days := 0
			var found *Verdict
			campaign := Campaign{Seeds: seedsToFind, plant: planted.plant, Each: func(v Verdict) bool {
				days++
				if len(v.Violations) > 0 {
					found = &v
				}
				return found == nil
			}}
			if err := campaign.Run(t.Context()); err != nil {
				t.Fatal(err)
			}
			if found == nil {
				t.Fatalf("not found in %d days", days)
			}
			if !slices.ContainsFunc(planted.rules, found.breaks) {
				t.Errorf("seed %d broke other rules: %v", found.Day.Seed, found.Violations)
			}
			short, err := found.Shrink()
			if err != nil {
				t.Fatal(err)
			}
			if len(short.Violations) == 0 || len(short.Day.Keep) >= found.Day.Steps/2 {
				t.Errorf("seed %d: %d of %d steps are left, with %v", found.Day.Seed, len(short.Day.Keep), found.Day.Steps, short.Violations)
			}
			t.Logf("found on day %d, in %d steps: %v", days, len(short.Day.Keep), short.Violations[0])
		})
	}
}
