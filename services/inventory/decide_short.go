package inventory

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// reportShortPick takes off the book what a picker did not find in its bin, for
// whomever it was held, since nobody else will find it there either. What is
// picked is on hand still.
func reportShortPick(st *State, in sitelog.Input, req *inventoryv1.ReportShortPickRequest) ([]proto.Message, *inventoryv1.ReportShortPickResponse, error) {
	job := req.GetJob()
	if st.holds[job] == nil {
		return nil, nil, noHold(job)
	}
	if err := explained(req.GetCause(), req.GetNote(), "note"); err != nil {
		return nil, nil, err
	}
	d := newDraft(st, in)
	lines, err := named(d.hold(job), []string{req.GetLine()}, func(l *inventoryv1.HoldLine) error {
		if unpicked(l) == 0 {
			return lineState("LINE_NOT_IN_BIN", job, l, "nothing of it lies in its bin by the book, so none is missing there")
		}
		return nil
	})
	if err != nil {
		return nil, nil, err
	}
	number := lines[0].GetPart()
	p := st.parts[number]
	if p.stray > 0 {
		return nil, nil, partsAstray(st, number)
	}
	missing := p.onHand - p.picked
	others := d.emptyBin(number)
	if err := d.move(change{
		part: number, kind: inventoryv1.MovementKind_MOVEMENT_KIND_COUNTED, quantity: -missing,
		reference: job, note: req.GetNote(), cause: req.GetCause(),
	}); err != nil {
		return nil, nil, err
	}
	question := questionOf(p, finding{in: in, difference: -missing, cause: req.GetCause(), note: req.GetNote(), booked: true, job: job})
	d.last = append(d.last, &inventoryv1.CountAsked{Question: question})
	events := d.finish()
	resp := &inventoryv1.ReportShortPickResponse{
		Hold: d.look(job), Pick: pickOf(d.look(job)), Part: d.part(number), Question: question,
	}
	for _, other := range others {
		if other != job {
			resp.OtherJobs = append(resp.OtherJobs, other)
		}
	}
	return events, resp, nil
}

// emptyBin takes from every job what the book says is in a part's bin.
func (d *draft) emptyBin(number string) (jobs []string) {
	for _, job := range d.st.parts[number].holdersByJob() {
		some := false
		for _, l := range d.hold(job).GetLines() {
			if n := unpicked(l); l.GetPart() == number && n > 0 {
				d.take(l, -n)
				place(l)
				some = true
			}
		}
		if some {
			jobs = append(jobs, job)
			d.tell(job, held)
		}
	}
	return jobs
}

func partsAstray(st *State, number string) error {
	var where []string
	for _, job := range slices.SortedFunc(maps.Keys(st.holds), compareJobs) {
		if n := tallyOf(st.holds[job].doc)[number].stray; n > 0 {
			where = append(where, fmt.Sprintf("%d that were picked for %s", n, job))
		}
	}
	return fault.New(fault.Precondition, "PARTS_ASTRAY",
		"pieces of %s are off their bin and were not put back: %s; look there first, and put them away", number, strings.Join(where, ", ")).
		With("part", number).About("Part", partName(number))
}
