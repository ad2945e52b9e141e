package inventory

import (
	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// closeReturn keeps what became of something that went back. What was replaced or
// kept comes on the shelf, and whoever waits for it is served.
func closeReturn(st *State, in sitelog.Input, req *inventoryv1.CloseReturnRequest) ([]proto.Message, *inventoryv1.CloseReturnResponse, error) {
	r, quantity, err := theReturn(st, req.GetReturn(), req.GetQuantity(), returnExpected, returnSetApart, returnSent)
	if err != nil {
		return nil, nil, err
	}
	if err := checkOutcome(r, quantity, req); err != nil {
		return nil, nil, err
	}
	d := newDraft(st, in)
	now := d.advance(r, quantity, func(r *inventoryv1.Return) {
		r.State, r.Outcome, r.Credited = req.GetOutcome(), req.GetReason(), req.GetCredited()
	})
	resp := &inventoryv1.CloseReturnResponse{Return: now}
	if req.GetOutcome() != returnReplaced && req.GetOutcome() != returnKept {
		return d.finish(), resp, nil
	}
	if err := d.move(change{
		part: r.GetPart(), kind: inventoryv1.MovementKind_MOVEMENT_KIND_RECEIVED, quantity: quantity, reference: now.GetName(), note: req.GetReason(),
	}); err != nil {
		return nil, nil, err
	}
	events := d.finish()
	resp.Part = d.part(r.GetPart())
	return events, resp, nil
}

// checkOutcome holds an outcome to what the return is and to what was expected.
func checkOutcome(r *inventoryv1.Return, quantity int64, req *inventoryv1.CloseReturnRequest) error {
	bad := fault.New(fault.Invalid, "OUTCOME_INVALID", "%s cannot end like this; correct the named fields", r.GetName())
	credited := req.GetOutcome() == returnCredited
	switch m, expected := req.GetCredited(), r.GetExpected(); {
	case credited != (m != nil):
		bad.WithField("credited", "is what the supplier pays: it belongs to a credit, and to nothing else")
	case m == nil:
	case m.GetMinorUnits() < 0 || m.GetMinorUnits() > maxMoney || len(m.GetCurrencyCode()) != 3:
		bad.WithField("credited", "must lie between 0 and %d minor units of a currency", int64(maxMoney))
	case expected != nil && expected.GetCurrencyCode() != m.GetCurrencyCode():
		bad.WithField("credited", "was expected in %s", expected.GetCurrencyCode())
	case expected != nil && req.GetReason() == "":
		if share, _ := divide(expected, quantity, r.GetQuantity()); !proto.Equal(share, m) {
			bad.WithField("reason", "must say why it is not the %d minor units that were expected", share.GetMinorUnits())
		}
	}
	if (req.GetOutcome() == returnRefused || req.GetOutcome() == returnLost) && req.GetReason() == "" {
		bad.WithField("reason", "must say why")
	}
	switch {
	case r.GetKind() == oldUnit && (req.GetOutcome() == returnReplaced || req.GetOutcome() == returnKept):
		bad.WithField("outcome", "an old unit never comes on the shelf: credited, refused or lost are left")
	case r.GetState() == returnExpected && req.GetOutcome() != returnLost:
		bad.WithField("outcome", "it is at the car still: take it in first, or say that it is lost")
	}
	if len(bad.Fields) > 0 {
		return bad
	}
	return nil
}
