package inventory

import (
	"pgregory.net/rapid"

	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// pick does something with a job's kit.
func (w *world) pick() error {
	job := w.job()
	switch rapid.IntRange(0, 7).Draw(w.t, "picking") {
	case 0:
		return run(w, reportShortPick, &inventoryv1.ReportShortPickRequest{Job: job, Line: w.lineName(), Cause: w.cause(), Note: "bin empty"})
	case 1:
		return run(w, finishPick, &inventoryv1.FinishPickRequest{
			Job: job, Partial: rapid.Bool().Draw(w.t, "partial"), StageAt: rapid.SampledFrom([]string{"", "trolley 2"}).Draw(w.t, "place"),
		})
	case 2:
		return run(w, putPartsAway, &inventoryv1.PutPartsAwayRequest{Job: job, Lines: w.names()})
	default:
		return run(w, pickPart, &inventoryv1.PickPartRequest{Job: job, Code: w.part(), Quantity: rapid.Int64Range(0, 3).Draw(w.t, "picked")})
	}
}

func (w *world) lineName() string {
	return rapid.SampledFrom([]string{"line-0", "line-1", "line-2", "line-3", "extra-1"}).Draw(w.t, "line")
}

func (w *world) cause() inventoryv1.CountCause {
	return inventoryv1.CountCause(rapid.Int32Range(1, 7).Draw(w.t, "cause"))
}

// count counts what the book says more or less often than not, so that questions
// are asked, confirmed and settled.
func (w *world) count() error {
	req := &inventoryv1.CountShelfRequest{Part: w.part(), Cause: inventoryv1.CountCause(rapid.Int32Range(0, 6).Draw(w.t, "cause"))}
	req.Counted = max(0, w.st.parts[req.GetPart()].onHand+rapid.Int64Range(-6, 6).Draw(w.t, "difference"))
	return run(w, countShelf, req)
}
