package inventory

import (
	"strings"

	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// auditReturns checks that what goes back is what was taken away: from jobs by
// their lines, and from the shelf by its movements; and that money divided is
// neither more nor less than before.
func (s *site) auditReturns() {
	failed, old := map[[2]string]int64{}, map[[2]string]int64{}
	kept := map[string]int64{}
	whole := map[string]int64{} // by the return that was divided
	for name, r := range s.all.returns {
		if r.GetQuantity() <= 0 || r.GetName() != name {
			s.t.Fatalf("a return of nothing, or of another name: %v", r)
		}
		at := [2]string{r.GetJob(), r.GetPart()}
		switch {
		case r.GetKind() == failedPart && r.GetJob() != "":
			failed[at] += r.GetQuantity()
		case r.GetKind() == oldUnit && r.GetState() != returnVoid:
			old[at] += r.GetQuantity()
		}
		if r.GetState() == returnKept || r.GetState() == returnReplaced {
			kept[name] += r.GetQuantity()
		}
		whole[s.undivided(r)] += r.GetQuantity()
	}
	for job, h := range s.all.holds {
		for _, l := range h.doc.GetLines() {
			failed[[2]string{job, l.GetPart()}] -= l.GetFailed()
			old[[2]string{job, l.GetPart()}] -= l.GetOldUnits()
		}
	}
	for at, n := range failed {
		if n != 0 || old[at] != 0 {
			s.t.Fatalf("%v: returns and lines differ by %d failed parts and %d old units", at, n, old[at])
		}
	}
	for _, e := range s.history {
		moved, is := e.(*inventoryv1.StockMoved)
		if !is || !strings.HasPrefix(moved.GetMovement().GetReference(), "returns/") {
			continue
		}
		m := moved.GetMovement()
		if m.GetKind() == inventoryv1.MovementKind_MOVEMENT_KIND_RECEIVED {
			kept[m.GetReference()] -= m.GetQuantity()
		} else if whole[m.GetReference()] != -m.GetQuantity() {
			s.t.Fatalf("%d went off the shelf as %s, which is about %d", -m.GetQuantity(), m.GetReference(), whole[m.GetReference()])
		}
	}
	for name, n := range kept {
		if n != 0 {
			s.t.Fatalf("%d of %s should lie on the shelf, and no movement says so", n, name)
		}
	}
}

// undivided is the return that a part of one was first opened as.
func (s *site) undivided(r *inventoryv1.Return) string {
	for r.GetDividedFrom() != "" {
		r = s.all.returns[r.GetDividedFrom()]
	}
	return r.GetName()
}
