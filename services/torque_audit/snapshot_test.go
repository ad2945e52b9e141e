package torqueaudit

import (
	"testing"
	"time"

	"pgregory.net/rapid"

	"ramprow/internal/platform/readmodel/readmodeltest"
	pb "ramprow/proto/ramprow/torque_audit/v1"
)

// From a snapshot at any moment everything goes on as it would have without one.
func TestSnapshots(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		s := newSite(t)
		s.register(torqueAngleWrench())
		s.register(&pb.Wrench{Name: "wrenches/gun", Title: "Gun", Kind: pb.WrenchKind_WRENCH_KIND_GUN})
		for range rapid.IntRange(5, 60).Draw(r, "steps") {
			s.now = s.now.Add(time.Minute)
			if rapid.IntRange(0, 2).Draw(r, "kind") == 0 {
				s.hear(drawNews(r))
			} else {
				drawCommand(r, s)
			}
		}
		readmodeltest.Cut(r, Projection(), s.events, rapid.IntRange(0, len(s.events)).Draw(r, "cut"))
	})
}
