package scheduling

import (
	"testing"

	"pgregory.net/rapid"

	"ramprow/internal/platform/readmodel/readmodeltest"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// From a snapshot at any moment everything goes on as it would have without one.
func TestSnapshots(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := newShop(t)
		s.set(bay("bays/b1", "lift"))
		s.set(bay("bays/b2", "pit"))
		s.set(person("people/p1", "engine"))
		s.set(tool("tools/t0", "lock"))
		w := &walk{shop: s, t: t, revisions: map[string]uint32{}, begun: map[string]*schedulingv1.Booking{}}
		for range rapid.IntRange(5, 30).Draw(t, "steps") {
			w.step()
		}
		readmodeltest.Cut(t, Projection(), s.events, rapid.IntRange(0, len(s.events)).Draw(t, "cut"))
	})
}
