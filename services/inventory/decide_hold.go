package inventory

import (
	"fmt"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// issueParts hands complete lines over to the technician.
func issueParts(st *State, in sitelog.Input, req *inventoryv1.IssuePartsRequest) ([]proto.Message, *inventoryv1.IssuePartsResponse, error) {
	job := req.GetJob()
	h := st.holds[job]
	if h == nil {
		return nil, nil, noHold(job)
	}
	d := newDraft(st, in)
	lines, err := issuable(d.hold(job), req.GetLines())
	if err != nil {
		return nil, nil, err
	}
	var issued []string
	for _, l := range lines {
		issued = append(issued, l.GetLine())
		if err := d.handOver(job, l, l.GetHeld()); err != nil {
			return nil, nil, err
		}
	}
	d.tell(job, func(doc *inventoryv1.Hold) proto.Message {
		return &inventoryv1.PartsIssued{Job: job, Hold: doc, Lines: issued}
	})
	events := d.finish()
	return events, &inventoryv1.IssuePartsResponse{Hold: d.look(job)}, nil
}

// handOver gives pieces of what a line has on the shelf to the technician; those
// that are picked go first.
func (d *draft) handOver(job string, l *inventoryv1.HoldLine, quantity int64) error {
	d.take(l, -quantity)
	l.Picked -= min(l.GetPicked(), quantity)
	l.Issued += quantity
	place(l)
	d.expectOldUnits(job, l)
	return d.move(change{
		part:      l.GetPart(),
		kind:      inventoryv1.MovementKind_MOVEMENT_KIND_ISSUED,
		quantity:  -quantity,
		reference: job,
		note:      l.GetLine(),
	})
}

// issuable finds the lines to hand over: those named, or every held one.
func issuable(doc *inventoryv1.Hold, names []string) ([]*inventoryv1.HoldLine, error) {
	if len(names) == 0 {
		var lines []*inventoryv1.HoldLine
		for _, l := range doc.GetLines() {
			if l.GetState() == lineHeld {
				lines = append(lines, l)
			}
		}
		if len(lines) == 0 {
			return nil, fault.New(fault.Precondition, "NOTHING_HELD",
				"nothing is held for %s; get the hold to see what is short, issued or released", doc.GetJob()).
				With("job", doc.GetJob()).About("Hold", doc.GetName())
		}
		return lines, nil
	}
	return named(doc, names, func(l *inventoryv1.HoldLine) error {
		switch l.GetState() {
		case lineHeld:
			return nil
		case lineShort:
			return lineState("LINE_SHORT", doc.GetJob(), l, expected(l))
		case lineIssued, lineReturned, lineReleased, inventoryv1.LineState_LINE_STATE_UNSPECIFIED:
			return lineState("LINE_NOT_HELD", doc.GetJob(), l, "only held lines can be issued: get the hold to see them")
		default:
			return lineState("LINE_NOT_HELD", doc.GetJob(), l, "only held lines can be issued: get the hold to see them")
		}
	})
}

func expected(l *inventoryv1.HoldLine) string {
	if l.GetEta() == nil {
		return fmt.Sprintf("%d of %s are missing and nobody has ordered them: order them", lacking(l), l.GetPart())
	}
	return fmt.Sprintf("%d of %s are missing, expected on %s", lacking(l), l.GetPart(), l.GetEta().AsTime().Format("2006-01-02"))
}

// named finds lines by name, each of which must pass. A name may stand there once.
func named(doc *inventoryv1.Hold, names []string, pass func(*inventoryv1.HoldLine) error) ([]*inventoryv1.HoldLine, error) {
	byName := map[string]*inventoryv1.HoldLine{}
	for _, l := range doc.GetLines() {
		byName[l.GetLine()] = l
	}
	var lines []*inventoryv1.HoldLine
	seen := map[string]bool{}
	for i, name := range names {
		l := byName[name]
		if l == nil {
			return nil, noLine(doc.GetJob(), name)
		}
		if seen[name] {
			return nil, fault.New(fault.Invalid, "LINE_NAMED_TWICE", "line %s is named twice; name each line once", name).
				WithField(fmt.Sprintf("lines[%d]", i), "%s stands there twice", name)
		}
		seen[name] = true
		if err := pass(l); err != nil {
			return nil, err
		}
		lines = append(lines, l)
	}
	return lines, nil
}

// returnParts takes back whole lines as they were handed over. They are not
// wanted any more, and whoever waits for them is served.
func returnParts(st *State, in sitelog.Input, req *inventoryv1.ReturnPartsRequest) ([]proto.Message, *inventoryv1.ReturnPartsResponse, error) {
	job := req.GetJob()
	if st.holds[job] == nil {
		return nil, nil, noHold(job)
	}
	d := newDraft(st, in)
	lines, err := named(d.hold(job), req.GetLines(), func(l *inventoryv1.HoldLine) error {
		if out(l) == 0 {
			return lineState("LINE_NOT_ISSUED", job, l, "only what was issued can be brought back: count a surplus with CountShelf instead")
		}
		return nil
	})
	if err != nil {
		return nil, nil, err
	}
	for _, l := range lines {
		quantity := out(l)
		d.free(l)
		l.Returned += quantity
		l.State, l.Eta, l.EtaP80 = lineReturned, nil, nil
		d.voidOldUnits(job, l)
		if err := d.move(change{
			part:      l.GetPart(),
			kind:      inventoryv1.MovementKind_MOVEMENT_KIND_RETURNED,
			quantity:  quantity,
			reference: job,
			note:      req.GetNote(),
		}); err != nil {
			return nil, nil, err
		}
	}
	d.tell(job, func(doc *inventoryv1.Hold) proto.Message {
		return &inventoryv1.PartsReturned{Job: job, Hold: doc, Lines: req.GetLines()}
	})
	events := d.finish()
	return events, &inventoryv1.ReturnPartsResponse{Hold: d.look(job)}, nil
}

// releaseHold gives up by hand what a job still wants.
func releaseHold(st *State, in sitelog.Input, req *inventoryv1.ReleaseHoldRequest) ([]proto.Message, *inventoryv1.ReleaseHoldResponse, error) {
	h := st.holds[req.GetJob()]
	if h == nil {
		return nil, nil, noHold(req.GetJob())
	}
	if !wantsAnything(h.doc) {
		return nil, nil, fault.New(fault.Precondition, "NOTHING_HELD",
			"nothing is held for %s or missing; what was issued is brought back with ReturnParts", req.GetJob()).
			With("job", req.GetJob()).About("Hold", h.doc.GetName())
	}
	d := newDraft(st, in)
	d.release(ending{job: req.GetJob(), state: inventoryv1.HoldState_HOLD_STATE_RELEASED, reason: req.GetReason()})
	events := d.finish()
	return events, &inventoryv1.ReleaseHoldResponse{Hold: d.look(req.GetJob())}, nil
}

func wantsAnything(doc *inventoryv1.Hold) bool {
	for _, l := range doc.GetLines() {
		if open(l) {
			return true
		}
	}
	return false
}
