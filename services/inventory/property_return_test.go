package inventory

import (
	"pgregory.net/rapid"

	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// goBack does something with what goes back to suppliers.
func (w *world) goBack() error {
	name := returnName(rapid.Uint64Range(1, max(1, w.st.returned)).Draw(w.t, "return"))
	some := rapid.Int64Range(0, 2).Draw(w.t, "pieces")
	switch rapid.IntRange(0, 6).Draw(w.t, "going back") {
	case 0, 1:
		return run(w, reportFailedPart, &inventoryv1.ReportFailedPartRequest{
			Job: w.job(), Line: w.lineName(), Quantity: max(1, some), Reason: "leaks", WithoutAnother: rapid.Bool().Draw(w.t, "without another"),
		})
	case 2:
		return run(w, setApart, &inventoryv1.SetApartRequest{
			Part: w.part(), Quantity: max(1, some), Reason: "bent", Kind: inventoryv1.ReturnKind(rapid.Int32Range(1, 4).Draw(w.t, "kind")),
		})
	case 3:
		return run(w, receiveOldUnit, &inventoryv1.ReceiveOldUnitRequest{Return: name, Quantity: some, Condition: "whole"})
	case 4:
		return run(w, sendReturns, &inventoryv1.SendReturnsRequest{Returns: []string{name}})
	default:
		req := &inventoryv1.CloseReturnRequest{
			Return: name, Quantity: some, Reason: "so it was", Outcome: inventoryv1.ReturnState(rapid.Int32Range(4, 8).Draw(w.t, "outcome")),
		}
		if req.GetOutcome() == returnCredited {
			req.Credited = euros(rapid.Int64Range(0, 3000).Draw(w.t, "credit"))
		}
		return run(w, closeReturn, req)
	}
}
