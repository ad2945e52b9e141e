package inventory

import (
	"testing"
	"time"

	"pgregory.net/rapid"

	"ramprow/internal/platform/readmodel/readmodeltest"
)

// From a snapshot at any moment everything goes on as it would have without one.
func TestSnapshots(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		w := &world{site: newSite(t), t: t, revisions: map[string]uint32{}}
		w.list(worldParts...)
		for range rapid.IntRange(1, 40).Draw(t, "steps") {
			switch rapid.IntRange(0, 9).Draw(t, "what") {
			case 0:
				w.passes(time.Duration(rapid.IntRange(1, 10*24).Draw(t, "hours")) * time.Hour)
			case 1, 2, 3, 4:
				w.hear()
			default:
				w.command()
			}
		}
		readmodeltest.Cut(t, Projection(), w.events, rapid.IntRange(0, len(w.events)).Draw(t, "cut"))
	})
}
