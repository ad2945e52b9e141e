package inventory

import (
	"cmp"
	"fmt"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// pickPart confirms by a scan that pieces were taken off their bin for a job.
func pickPart(st *State, in sitelog.Input, req *inventoryv1.PickPartRequest) ([]proto.Message, *inventoryv1.PickPartResponse, error) {
	job := req.GetJob()
	if st.holds[job] == nil {
		return nil, nil, noHold(job)
	}
	number, err := st.scanned(req.GetCode())
	if err != nil {
		return nil, nil, err
	}
	d := newDraft(st, in)
	l, err := pickable(st, d.hold(job), number, req.GetQuantity())
	if err != nil {
		return nil, nil, err
	}
	quantity := req.GetQuantity()
	if quantity == 0 {
		quantity = 1
		if l.GetUnit() != commonv1.Unit_UNIT_PIECE {
			quantity = unpicked(l)
		}
	}
	l.Picked += quantity
	d.tell(job, func(doc *inventoryv1.Hold) proto.Message {
		return &inventoryv1.PartsPicked{Job: job, Hold: doc, Line: l.GetLine(), Part: number, Quantity: quantity, Code: req.GetCode()}
	})
	events := d.finish()
	return events, &inventoryv1.PickPartResponse{Hold: d.look(job), Pick: pickOf(d.look(job))}, nil
}

// pickable finds the line that a scanned part is for.
func pickable(st *State, doc *inventoryv1.Hold, number string, quantity int64) (*inventoryv1.HoldLine, error) {
	job := doc.GetJob()
	p := pickOf(doc)
	var most, picked int64
	listed := false
	for _, l := range p.GetLines() {
		if l.GetPart() != number {
			continue
		}
		listed, most, picked = true, max(most, unpicked(l)), picked+l.GetPicked()
		if unpicked(l) > 0 && unpicked(l) >= quantity {
			return l, nil
		}
	}
	switch {
	case len(p.GetLines()) == 0:
		return nil, nothingToPick(doc)
	case !listed:
		e := fault.New(fault.Precondition, "PICK_WRONG_PART",
			"this is %s (%s), and %s has none of it on the shelf; put it back, %s", number, st.parts[number].about.GetTitle(), job, comesNext(p)).
			With("scanned", number).With("job", job).About("Hold", doc.GetName())
		if p.GetNext() != nil {
			e.With("expected", p.GetNext().GetPart()).With("bin", p.GetNext().GetBin())
		}
		return nil, e
	case most == 0:
		return nil, fault.New(fault.Precondition, "PICK_ENOUGH",
			"%s has all its %d of %s picked already; put this one back, %s", job, picked, number, comesNext(p)).
			With("part", number).With("job", job).About("Hold", doc.GetName())
	default:
		return nil, fault.New(fault.Precondition, "PICK_TOO_MANY",
			"%d of %s were taken, and a line of %s wants %d more at most; put the rest back and say how many were kept", quantity, number, job, most).
			With("part", number).With("job", job).With("wanted", fmt.Sprint(most)).WithField("quantity", "%d at most", most).About("Hold", doc.GetName())
	}
}

func nothingToPick(doc *inventoryv1.Hold) error {
	return fault.New(fault.Precondition, "NOTHING_TO_PICK",
		"nothing lies on the shelf for %s; get its hold to see what is short, issued or released", doc.GetJob()).
		With("job", doc.GetJob()).About("Hold", doc.GetName())
}

// comesNext says in words what a picker does next.
func comesNext(p *inventoryv1.Pick) string {
	l := p.GetNext()
	if l == nil {
		return "the kit is complete: finish it"
	}
	where := "it has no bin"
	if l.GetBin() != "" {
		where = "bin " + l.GetBin()
	}
	return fmt.Sprintf("expected is %s (%s) from %s", l.GetPart(), l.GetTitle(), where)
}

// finishPick hands what was picked over, or says where it waits.
func finishPick(st *State, in sitelog.Input, req *inventoryv1.FinishPickRequest) ([]proto.Message, *inventoryv1.FinishPickResponse, error) {
	job := req.GetJob()
	if st.holds[job] == nil {
		return nil, nil, noHold(job)
	}
	d := newDraft(st, in)
	picked, err := finishable(d.hold(job), req.GetPartial())
	if err != nil {
		return nil, nil, err
	}
	if req.GetStageAt() != "" {
		d.hold(job).StagedAt = req.GetStageAt()
		d.tell(job, func(doc *inventoryv1.Hold) proto.Message {
			return &inventoryv1.PartsStaged{Job: job, Hold: doc, Place: req.GetStageAt()}
		})
	} else {
		var issued []string
		for _, l := range picked {
			issued = append(issued, l.GetLine())
			if err := d.handOver(job, l, l.GetPicked()); err != nil {
				return nil, nil, err
			}
		}
		d.tell(job, func(doc *inventoryv1.Hold) proto.Message {
			return &inventoryv1.PartsIssued{Job: job, Hold: doc, Lines: issued}
		})
	}
	events := d.finish()
	return events, &inventoryv1.FinishPickResponse{Hold: d.look(job)}, nil
}

// finishable gives the lines of which something is picked. All that lies there
// has to be, unless a part of the kit is welcome.
func finishable(doc *inventoryv1.Hold, partial bool) ([]*inventoryv1.HoldLine, error) {
	kit := pickOf(doc)
	if len(kit.GetLines()) == 0 {
		return nil, nothingToPick(doc)
	}
	var picked []*inventoryv1.HoldLine
	e := fault.New(fault.Precondition, "PICK_INCOMPLETE",
		"not all that lies there for %s is picked; scan the rest, report what its bin lacks, or finish a part of the kit", doc.GetJob()).
		With("job", doc.GetJob()).About("Hold", doc.GetName())
	for _, l := range kit.GetLines() {
		if l.GetPicked() > 0 {
			picked = append(picked, l)
		}
		if n := unpicked(l); n > 0 {
			e.WithUnmet(fault.Unmet{
				Type: "NOT_PICKED", Subject: doc.GetName() + "/" + l.GetLine(),
				Description: fmt.Sprintf("%d of %s (%s) lie in bin %s", n, l.GetPart(), l.GetTitle(), cmp.Or(l.GetBin(), "(none)")),
			})
		}
	}
	if len(picked) == 0 || len(e.Unmet) > 0 && !partial {
		return nil, e
	}
	return picked, nil
}

// putPartsAway notes that picked pieces lie in their bins again: those of the
// lines named, or all that no line wants.
func putPartsAway(st *State, in sitelog.Input, req *inventoryv1.PutPartsAwayRequest) ([]proto.Message, *inventoryv1.PutPartsAwayResponse, error) {
	job := req.GetJob()
	if st.holds[job] == nil {
		return nil, nil, noHold(job)
	}
	d := newDraft(st, in)
	lines := strays(d.hold(job))
	if len(req.GetLines()) > 0 {
		var err error
		if lines, err = named(d.hold(job), req.GetLines(), func(l *inventoryv1.HoldLine) error {
			if l.GetPicked()+l.GetStray() == 0 {
				return lineState("LINE_NOT_PICKED", job, l, "nothing of it is off its bin: what is at the car is brought back with ReturnParts")
			}
			return nil
		}); err != nil {
			return nil, nil, err
		}
	}
	if len(lines) == 0 {
		return nil, nil, fault.New(fault.Precondition, "NOTHING_TO_PUT_AWAY",
			"nothing that was picked for %s has lost its use; name the lines whose picking is to be undone", job).
			With("job", job).About("Hold", holdName(job))
	}
	var names []string
	for _, l := range lines {
		l.Picked, l.Stray = 0, 0
		names = append(names, l.GetLine())
	}
	d.tell(job, func(doc *inventoryv1.Hold) proto.Message {
		return &inventoryv1.PartsPutAway{Job: job, Hold: doc, Lines: names}
	})
	events := d.finish()
	return events, &inventoryv1.PutPartsAwayResponse{Hold: d.look(job)}, nil
}
