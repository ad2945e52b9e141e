package inventory

import (
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// renewHold gives a hold a new life. One that is alive ends later; one that was
// given up wants again what it lost then, at the end of the queue.
func renewHold(st *State, in sitelog.Input, req *inventoryv1.RenewHoldRequest) ([]proto.Message, *inventoryv1.RenewHoldResponse, error) {
	job := req.GetJob()
	h := st.holds[job]
	switch {
	case h == nil:
		return nil, nil, noHold(job)
	case h.over:
		return nil, nil, jobOver(h)
	case ended(h.doc):
		return takeUp(st, in, job)
	case !wantsAnything(h.doc):
		return nil, nil, nothingToRenew(h.doc)
	}
	doc := h.doc
	events := extendUntil(st, job, in.Now.Add(HoldLife))
	if len(events) > 0 {
		doc = proto.CloneOf(doc)
		doc.ExpiresAt = timestamppb.New(in.Now.Add(HoldLife))
	}
	return events, &inventoryv1.RenewHoldResponse{Hold: doc}, nil
}

func jobOver(h *holding) error {
	job := h.doc.GetJob()
	return fault.New(fault.Precondition, "JOB_OVER",
		"%s is cancelled or invoiced, so nothing is held for it any more; open a new job", job).
		With("job", job).About("Hold", h.doc.GetName())
}

func nothingToRenew(doc *inventoryv1.Hold) error {
	return fault.New(fault.Precondition, "NOTHING_TO_RENEW",
		"%s wants nothing more from the shelf; a new plan of the job would change that", doc.GetJob()).
		With("job", doc.GetJob()).About("Hold", doc.GetName())
}

// takeUp wants again the lines that were lost when the hold ended.
func takeUp(st *State, in sitelog.Input, job string) ([]proto.Message, *inventoryv1.RenewHoldResponse, error) {
	d := newDraft(st, in)
	doc := d.begin(job, st.holds[job].priority())
	some := false
	for _, l := range doc.GetLines() {
		if l.GetState() != lineReleased || !st.holds[job].lost[l.GetLine()] {
			continue
		}
		l.State = lineShort
		place(l)
		d.touch(l.GetPart())
		some = true
	}
	if !some {
		return nil, nil, nothingToRenew(doc)
	}
	doc.State = inventoryv1.HoldState_HOLD_STATE_UNSPECIFIED
	doc.ExpiresAt = nil
	d.tell(job, held)
	events := d.finish()
	return events, &inventoryv1.RenewHoldResponse{Hold: d.look(job)}, nil
}
