package simulate

import (
	"math/rand/v2"

	"ramprow/internal/platform/simulation"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// clerk does something about the shelf.
func (d *day) clerk(r *rand.Rand, id string) simulation.Request {
	parts := d.catalogue.Message().GetParts()
	part := pick(r, parts).GetNumber()
	quantity := int64(1 + r.IntN(5))
	switch r.IntN(8) {
	case 0:
		return ask(stockLog, inventoryv1.InventoryService_CountShelf_FullMethodName,
			&inventoryv1.CountShelfRequest{RequestId: id, Part: part, Counted: int64(r.IntN(6)), Cause: inventoryv1.CountCause_COUNT_CAUSE_MISCOUNTED})
	case 1:
		return ask(stockLog, inventoryv1.InventoryService_ScrapPart_FullMethodName,
			&inventoryv1.ScrapPartRequest{RequestId: id, Part: part, Quantity: 1, Reason: "fell down"})
	case 2, 3:
		return ask(stockLog, inventoryv1.InventoryService_ReceiveGoods_FullMethodName,
			&inventoryv1.ReceiveGoodsRequest{RequestId: id, Lines: []*inventoryv1.ReceivedLine{{Part: part, Quantity: quantity}}})
	case 4:
		return ask(stockLog, inventoryv1.InventoryService_PlaceOrder_FullMethodName,
			&inventoryv1.PlaceOrderRequest{RequestId: id, Supplier: "carrow-depot", Lines: []*inventoryv1.OrderLine{{Part: part, Quantity: quantity}}})
	case 5:
		if len(d.orders) > 0 {
			o := pick(r, d.orders)
			return ask(stockLog, inventoryv1.InventoryService_ReceiveGoods_FullMethodName, &inventoryv1.ReceiveGoodsRequest{
				RequestId: id, Order: o.GetName(), Lines: []*inventoryv1.ReceivedLine{{Part: o.GetLines()[0].GetPart(), Quantity: o.GetLines()[0].GetQuantity()}},
			})
		}
	case 6:
		if len(d.orders) > 0 && r.IntN(3) == 0 {
			return ask(stockLog, inventoryv1.InventoryService_CancelOrder_FullMethodName,
				&inventoryv1.CancelOrderRequest{RequestId: id, Order: pick(r, d.orders).GetName(), Reason: "too late"})
		}
	}
	return d.holds(r, id)
}

// holds issues, returns or gives up what is on the shelf for a job.
func (d *day) holds(r *rand.Rand, id string) simulation.Request {
	j := pick(r, d.jobs).job
	switch draw := r.IntN(14); {
	case draw == 0:
		return ask(stockLog, inventoryv1.InventoryService_ReleaseHold_FullMethodName,
			&inventoryv1.ReleaseHoldRequest{RequestId: id, Job: j.GetName(), Reason: "needed elsewhere"})
	case draw == 1:
		return ask(stockLog, inventoryv1.InventoryService_RenewHold_FullMethodName, &inventoryv1.RenewHoldRequest{RequestId: id, Job: j.GetName()})
	case draw > 11:
		return d.picks(r, id, j)
	case draw == 2 && len(j.GetParts().GetIssuedLines()) > 0:
		return ask(stockLog, inventoryv1.InventoryService_ReturnParts_FullMethodName, &inventoryv1.ReturnPartsRequest{
			RequestId: id, Job: j.GetName(), Lines: []string{pick(r, j.GetParts().GetIssuedLines())}, Note: "not needed",
		})
	}
	return ask(stockLog, inventoryv1.InventoryService_IssueParts_FullMethodName, &inventoryv1.IssuePartsRequest{RequestId: id, Job: j.GetName()})
}

// picks scans a part of a job's plan, or finds its bin empty.
func (d *day) picks(r *rand.Rand, id string, j *jobv1.Job) simulation.Request {
	wanted := j.GetPlan().GetParts()
	if len(wanted) == 0 {
		return ask(stockLog, inventoryv1.InventoryService_PutPartsAway_FullMethodName, &inventoryv1.PutPartsAwayRequest{RequestId: id, Job: j.GetName()})
	}
	l := pick(r, wanted)
	if r.IntN(6) == 0 {
		return ask(stockLog, inventoryv1.InventoryService_ReportShortPick_FullMethodName, &inventoryv1.ReportShortPickRequest{
			RequestId: id, Job: j.GetName(), Line: l.GetLine(), Cause: inventoryv1.CountCause_COUNT_CAUSE_UNKNOWN,
		})
	}
	return ask(stockLog, inventoryv1.InventoryService_PickPart_FullMethodName, &inventoryv1.PickPartRequest{RequestId: id, Job: j.GetName(), Code: l.GetPart()})
}
