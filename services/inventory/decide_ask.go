package inventory

import (
	"fmt"
	"time"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// longestHold bounds the end that can be asked for, and mostLines what one hold
// may come to by asking again and again.
const (
	longestHold = 366 * 24 * time.Hour
	mostLines   = 1000
)

// holdParts holds what a person asks for beside the job's plan. Unless a part of
// it is welcome, one piece that is missing refuses the whole: nothing is held.
func holdParts(st *State, in sitelog.Input, req *inventoryv1.HoldPartsRequest) ([]proto.Message, *inventoryv1.HoldPartsResponse, error) {
	job := req.GetJob()
	h := st.holds[job]
	if h != nil && h.over {
		return nil, nil, jobOver(h)
	}
	if err := checkAsked(st, in, req); err != nil {
		return nil, nil, err
	}
	d := newDraft(st, in)
	anew := h == nil || ended(h.doc)
	doc := d.begin(job, h.priority())
	if anew {
		doc.State, doc.ExpiresAt = inventoryv1.HoldState_HOLD_STATE_UNSPECIFIED, req.GetExpiresAt()
	} else if doc.GetState() == inventoryv1.HoldState_HOLD_STATE_SETTLED {
		doc.State = inventoryv1.HoldState_HOLD_STATE_UNSPECIFIED
	}
	if n := len(doc.GetLines()) + len(req.GetLines()); n > mostLines {
		return nil, nil, fault.New(fault.Precondition, "HOLD_TOO_LONG",
			"the hold of %s would have %d lines, and %d are the most; open another job for the rest", job, n, mostLines).
			With("job", job).About("Hold", doc.GetName())
	}
	var parts []string
	for _, w := range req.GetLines() {
		l := d.extraLine(doc, w)
		doc.Lines = append(doc.Lines, l)
		parts = append(parts, l.GetPart())
	}
	if !req.GetPartial() {
		if err := d.allThere(job, doc.GetLines()[len(doc.GetLines())-len(parts):]); err != nil {
			return nil, nil, err
		}
	}
	for _, number := range parts {
		d.touch(number)
	}
	d.tell(job, held)
	events := d.finish()
	resp := &inventoryv1.HoldPartsResponse{Hold: d.look(job)}
	seen := map[string]bool{}
	for _, number := range parts {
		if !seen[number] {
			resp.Parts = append(resp.Parts, d.part(number))
		}
		seen[number] = true
	}
	return events, resp, nil
}

func checkAsked(st *State, in sitelog.Input, req *inventoryv1.HoldPartsRequest) error {
	bad := fault.New(fault.Invalid, "WISH_INVALID", "the parts cannot be held like this; correct the named fields")
	seen := map[string]bool{}
	for i, w := range req.GetLines() {
		if st.parts[w.GetPart()] == nil {
			return noPart(w.GetPart())
		}
		if seen[w.GetPart()] {
			bad.WithField(fmt.Sprintf("lines[%d].part", i), "%s stands there twice; ask for it once", w.GetPart())
		}
		seen[w.GetPart()] = true
	}
	if end := req.GetExpiresAt(); end != nil && (!end.AsTime().After(in.Now) || end.AsTime().After(in.Now.Add(longestHold))) {
		bad.WithField("expires_at", "must lie ahead, and within a year")
	}
	if len(bad.Fields) > 0 {
		return bad
	}
	return nil
}

// extraLine is a line of its own name for what was asked.
func (d *draft) extraLine(doc *inventoryv1.Hold, w *inventoryv1.WantedPart) *inventoryv1.HoldLine {
	n := 1
	for taken(doc.GetLines(), fmt.Sprintf("extra-%d", n)) {
		n++
	}
	number := d.substitute(w.GetPart())
	about := d.st.parts[number].about
	l := &inventoryv1.HoldLine{
		Line: fmt.Sprintf("extra-%d", n), Part: number, Title: about.GetTitle(), Quantity: w.GetQuantity(), Unit: about.GetUnit(),
		State: lineShort, Bin: about.GetBin(), Extra: true,
	}
	if number != w.GetPart() {
		l.Title = fmt.Sprintf("%s (replaces %s)", about.GetTitle(), w.GetPart())
	}
	return l
}

// allThere refuses unless all of some new lines lie free on the shelf.
func (d *draft) allThere(job string, lines []*inventoryv1.HoldLine) error {
	wanted, order := map[string]int64{}, []string{}
	for _, l := range lines {
		if wanted[l.GetPart()] == 0 {
			order = append(order, l.GetPart())
		}
		wanted[l.GetPart()] += l.GetQuantity()
	}
	e := fault.New(fault.Precondition, "PARTS_SHORT",
		"not all of it lies free, so nothing is held for %s; ask for less, order what is missing, or ask for a part of it to be held", job).
		With("job", job)
	for _, number := range order {
		s := d.stock(number)
		if free := s.onHand - s.held; free < wanted[number] {
			e.WithUnmet(fault.Unmet{
				Type: "PART_SHORT", Subject: partName(number),
				Description: fmt.Sprintf("%d of %s are free and %d are wanted; %s", free, number, wanted[number], d.nextDelivery(number)),
			})
		}
	}
	if len(e.Unmet) > 0 {
		return e
	}
	return nil
}

// nextDelivery says when more of a part comes.
func (d *draft) nextDelivery(number string) string {
	deliveries := d.deliveries(number)
	if len(deliveries) == 0 {
		return fmt.Sprintf("none is on order, one ordered now comes on %s", d.leadEnd(number).Format(time.DateOnly))
	}
	return fmt.Sprintf("%d come on %s", deliveries[0].quantity, deliveries[0].at.Format(time.DateOnly))
}
