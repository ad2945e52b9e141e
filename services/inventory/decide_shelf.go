package inventory

import (
	"fmt"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// scrapPart takes broken stock off the shelf. What is held cannot be scrapped.
func scrapPart(st *State, in sitelog.Input, req *inventoryv1.ScrapPartRequest) ([]proto.Message, *inventoryv1.ScrapPartResponse, error) {
	p := st.parts[req.GetPart()]
	if p == nil {
		return nil, nil, noPart(req.GetPart())
	}
	if req.GetQuantity() > p.onHand-p.held {
		return nil, nil, heldForJobs("SCRAP_BELOW_HELD", p, fmt.Sprintf("%d are to be scrapped", req.GetQuantity()))
	}
	d := newDraft(st, in)
	if err := d.move(change{
		part:      req.GetPart(),
		kind:      inventoryv1.MovementKind_MOVEMENT_KIND_SCRAPPED,
		quantity:  -req.GetQuantity(),
		reference: "scrap",
		note:      req.GetReason(),
	}); err != nil {
		return nil, nil, err
	}
	events := d.finish()
	return events, &inventoryv1.ScrapPartResponse{Part: d.part(req.GetPart())}, nil
}

// receiveGoods puts goods on the shelf. What came damaged counts as delivered
// but is not put there.
func receiveGoods(st *State, in sitelog.Input, req *inventoryv1.ReceiveGoodsRequest) ([]proto.Message, *inventoryv1.ReceiveGoodsResponse, error) {
	if err := checkReceipt(st, req); err != nil {
		return nil, nil, err
	}
	d := newDraft(st, in)
	reference := "goods-in"
	paid := st.paid(req)
	if req.GetOrder() != "" {
		if err := d.receiveOrder(req); err != nil {
			return nil, nil, err
		}
		reference = req.GetOrder()
	}
	for i, l := range req.GetLines() {
		d.setApartGoods(req.GetOrder(), l, req.GetNote())
		good := l.GetQuantity() - l.GetDamaged() - l.GetSendBack()
		if good == 0 {
			continue
		}
		if err := d.move(change{
			part:      l.GetPart(),
			kind:      inventoryv1.MovementKind_MOVEMENT_KIND_RECEIVED,
			quantity:  good,
			reference: reference,
			note:      receiptNote(req.GetNote(), l.GetDamaged()),
			cost:      paid[i],
		}); err != nil {
			return nil, nil, err
		}
	}
	events := d.finish()
	resp := &inventoryv1.ReceiveGoodsResponse{JobsServed: d.served, Returns: d.opened}
	seen := map[string]bool{}
	for _, l := range req.GetLines() {
		if !seen[l.GetPart()] {
			resp.Parts = append(resp.Parts, d.part(l.GetPart()))
		}
		seen[l.GetPart()] = true
	}
	return events, resp, nil
}

func receiptNote(note string, damaged int64) string {
	if damaged == 0 {
		return note
	}
	words := fmt.Sprintf("%d more came damaged", damaged)
	if note == "" {
		return words
	}
	return note + "; " + words
}

func checkReceipt(st *State, req *inventoryv1.ReceiveGoodsRequest) error {
	bad := fault.New(fault.Invalid, "RECEIPT_INVALID", "the receipt does not add up; correct the named lines")
	for i, l := range req.GetLines() {
		if st.parts[l.GetPart()] == nil {
			return noPart(l.GetPart())
		}
		switch {
		case l.GetDamaged() > l.GetQuantity():
			bad.WithField(fmt.Sprintf("lines[%d].damaged", i), "%d cannot be damaged of the %d that came", l.GetDamaged(), l.GetQuantity())
		case l.GetDamaged()+l.GetSendBack() > l.GetQuantity():
			bad.WithField(fmt.Sprintf("lines[%d].send_back", i), "%d cannot go back of the %d that came, %d of them damaged", l.GetSendBack(), l.GetQuantity(), l.GetDamaged())
		}
	}
	if len(bad.Fields) > 0 {
		return bad
	}
	return checkCosts("lines", costsOf(req.GetLines()))
}
