package inventory

import (
	"fmt"
	"slices"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// reportFailedPart takes a failed part away from its job. It is not on hand: it
// goes back to the supplier. The line is open again unless no other is needed.
func reportFailedPart(st *State, in sitelog.Input, req *inventoryv1.ReportFailedPartRequest) ([]proto.Message, *inventoryv1.ReportFailedPartResponse, error) {
	job := req.GetJob()
	h := st.holds[job]
	if h == nil {
		return nil, nil, noHold(job)
	}
	if err := another(h, req.GetWithoutAnother()); err != nil {
		return nil, nil, err
	}
	d := newDraft(st, in)
	lines, err := named(d.hold(job), []string{req.GetLine()}, func(l *inventoryv1.HoldLine) error {
		if out(l) == 0 {
			return lineState("LINE_NOT_ISSUED", job, l, "only what was handed over can fail at the car: set apart what is on the shelf with SetApart")
		}
		if req.GetQuantity() > out(l) {
			return fault.New(fault.Precondition, "FAILED_TOO_MANY",
				"%d are said to have failed, and %d of %s are at the car; check the line and the quantity", req.GetQuantity(), out(l), l.GetPart()).
				With("job", job).With("line", l.GetLine()).WithField("quantity", "%d at most", out(l))
		}
		return nil
	})
	if err != nil {
		return nil, nil, err
	}
	l := lines[0]
	d.fail(l, req.GetQuantity(), req.GetWithoutAnother())
	if req.GetWithoutAnother() {
		d.voidOldUnits(job, l)
	}
	r := d.openReturn(&inventoryv1.Return{
		Kind: failedPart, State: returnSetApart, Part: l.GetPart(), Quantity: req.GetQuantity(), Job: job, Line: l.GetLine(), Reason: req.GetReason(),
	})
	if doc := d.hold(job); doc.GetState() == inventoryv1.HoldState_HOLD_STATE_SETTLED && !h.over {
		doc.State = inventoryv1.HoldState_HOLD_STATE_UNSPECIFIED
	}
	d.tell(job, held)
	events := d.finish()
	return events, &inventoryv1.ReportFailedPartResponse{Return: r, Hold: d.look(job)}, nil
}

// another refuses to hold another part where nothing is held any more.
func another(h *holding, without bool) error {
	switch {
	case without:
		return nil
	case h.over:
		return fault.New(fault.Precondition, "JOB_OVER",
			"%s is cancelled or invoiced, so no other part is held for it; report it without another, and open a new job for the repair", h.doc.GetJob()).
			With("job", h.doc.GetJob()).About("Hold", h.doc.GetName())
	case ended(h.doc):
		return fault.New(fault.Precondition, "HOLD_ENDED",
			"the hold of %s was given up, so no other part is held for it; report it without another, or renew the hold first", h.doc.GetJob()).
			With("job", h.doc.GetJob()).About("Hold", h.doc.GetName())
	}
	return nil
}

// fail takes failed pieces of a line off its car. Without others the line wants
// so much less; one of which nothing is left counts as brought back.
func (d *draft) fail(l *inventoryv1.HoldLine, quantity int64, withoutAnother bool) {
	was := l.GetQuantity()
	l.Failed += quantity
	if withoutAnother {
		l.Quantity -= quantity
	}
	if l.GetQuantity() == 0 {
		l.Quantity, l.State, l.Eta, l.EtaP80 = was, lineReturned, nil, nil
		return
	}
	place(l)
	d.touch(l.GetPart())
}

// setApart takes pieces off the shelf that go back to their supplier.
func setApart(st *State, in sitelog.Input, req *inventoryv1.SetApartRequest) ([]proto.Message, *inventoryv1.SetApartResponse, error) {
	p := st.parts[req.GetPart()]
	if p == nil {
		return nil, nil, noPart(req.GetPart())
	}
	if req.GetQuantity() > p.onHand-p.held {
		return nil, nil, heldForJobs("SET_APART_BELOW_HELD", p, fmt.Sprintf("%d are to be set apart", req.GetQuantity()))
	}
	if name := req.GetOrder(); name != "" && st.orders[name] == nil {
		return nil, nil, noOrder(name)
	}
	d := newDraft(st, in)
	r := d.openReturn(&inventoryv1.Return{
		Kind: req.GetKind(), State: returnSetApart, Part: req.GetPart(), Quantity: req.GetQuantity(), Order: req.GetOrder(), Reason: req.GetReason(),
	})
	if err := d.move(change{
		part: req.GetPart(), kind: inventoryv1.MovementKind_MOVEMENT_KIND_SENT_BACK, quantity: -req.GetQuantity(),
		reference: r.GetName(), note: req.GetReason(),
	}); err != nil {
		return nil, nil, err
	}
	events := d.finish()
	return events, &inventoryv1.SetApartResponse{Return: r, Part: d.part(req.GetPart())}, nil
}

// theReturn finds a return in one of some states, and so many pieces of it.
func theReturn(st *State, name string, quantity int64, in ...inventoryv1.ReturnState) (*inventoryv1.Return, int64, error) {
	r := st.returns[name]
	if r == nil {
		if f := st.archived(name); f != nil {
			return nil, 0, f
		}
		return nil, 0, noReturn(name)
	}
	if !slices.Contains(in, r.GetState()) {
		state := spoken(r.GetState().String(), "RETURN_STATE_")
		return nil, 0, fault.New(fault.Precondition, "RETURN_STATE",
			"%s is %s, so this cannot be said of it; get it to see what became of it", name, state).
			With("return", name).With("state", state).About("Return", name)
	}
	if quantity > r.GetQuantity() {
		return nil, 0, fault.New(fault.Precondition, "RETURN_TOO_MANY",
			"%s is about %d of %s, and %d are named; check the quantity", name, r.GetQuantity(), r.GetPart(), quantity).
			With("return", name).WithField("quantity", "%d at most", r.GetQuantity()).About("Return", name)
	}
	if quantity == 0 {
		quantity = r.GetQuantity()
	}
	return r, quantity, nil
}

// receiveOldUnit takes in what came off the car.
func receiveOldUnit(st *State, in sitelog.Input, req *inventoryv1.ReceiveOldUnitRequest) ([]proto.Message, *inventoryv1.ReceiveOldUnitResponse, error) {
	r, quantity, err := theReturn(st, req.GetReturn(), req.GetQuantity(), returnExpected)
	if err != nil {
		return nil, nil, err
	}
	d := newDraft(st, in)
	now := d.advance(r, quantity, func(r *inventoryv1.Return) { r.State, r.Condition = returnSetApart, req.GetCondition() })
	return d.finish(), &inventoryv1.ReceiveOldUnitResponse{Return: now}, nil
}

// sendReturns sends what was set apart to its one supplier.
func sendReturns(st *State, in sitelog.Input, req *inventoryv1.SendReturnsRequest) ([]proto.Message, *inventoryv1.SendReturnsResponse, error) {
	d := newDraft(st, in)
	resp := &inventoryv1.SendReturnsResponse{}
	supplier := ""
	seen := map[string]bool{}
	for i, name := range req.GetReturns() {
		r, quantity, err := theReturn(st, name, 0, returnSetApart)
		if err != nil {
			return nil, nil, err
		}
		path := fmt.Sprintf("returns[%d]", i)
		if seen[name] {
			return nil, nil, fault.New(fault.Invalid, "RETURN_NAMED_TWICE", "%s is named twice; name each once", name).WithField(path, "stands there twice")
		}
		seen[name] = true
		to := r.GetSupplier()
		if to == "" {
			to = st.parts[r.GetPart()].about.GetSupplier()
		}
		switch {
		case to == "":
			return nil, nil, fault.New(fault.Precondition, "SUPPLIER_UNKNOWN",
				"nobody knows who sold %s; set its supplier with SetPart, then send %s", r.GetPart(), name).
				With("part", r.GetPart()).WithField(path, "has no supplier").About("Return", name)
		case supplier != "" && to != supplier:
			return nil, nil, fault.New(fault.Precondition, "SUPPLIERS_DIFFER",
				"%s goes to %s and what stands before it to %s; send them one by one", name, to, supplier).
				With("return", name).WithField(path, "goes to %s", to).About("Return", name)
		}
		supplier = to
		resp.Returns = append(resp.Returns, d.advance(r, quantity, func(r *inventoryv1.Return) {
			r.State, r.Supplier, r.Reference = returnSent, to, req.GetReference()
		}))
	}
	return d.finish(), resp, nil
}
