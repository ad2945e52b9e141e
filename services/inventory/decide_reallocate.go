package inventory

import (
	"fmt"
	"math"
	"time"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// reallocateParts gives pieces that one job has on the shelf to another that
// waits for them, and says what that means for both.
func reallocateParts(st *State, in sitelog.Input, req *inventoryv1.ReallocatePartsRequest) ([]proto.Message, *inventoryv1.ReallocatePartsResponse, error) {
	quantity, err := movable(st, req)
	if err != nil {
		return nil, nil, err
	}
	number := req.GetPart()
	d := newDraft(st, in)
	left := quantity
	for _, l := range d.hold(req.GetFromJob()).GetLines() {
		if taken := min(left, l.GetHeld()); l.GetPart() == number && taken > 0 {
			d.take(l, -taken)
			place(l)
			left -= taken
		}
	}
	left = quantity
	for _, l := range d.hold(req.GetToJob()).GetLines() {
		if given := min(left, lacking(l)); l.GetPart() == number && given > 0 {
			d.take(l, given)
			place(l)
			left -= given
		}
	}
	d.touch(number)
	// First who gives: no event in between may show more held than there is.
	d.tell(req.GetFromJob(), held)
	d.tell(req.GetToJob(), held)
	events := d.finish()
	resp := &inventoryv1.ReallocatePartsResponse{From: d.look(req.GetFromJob()), To: d.look(req.GetToJob())}
	for _, after := range []*inventoryv1.Hold{resp.GetFrom(), resp.GetTo()} {
		resp.Consequences = append(resp.Consequences, consequence(st.holds[after.GetJob()].doc, after))
	}
	if req.GetDryRun() {
		return nil, resp, nil
	}
	return events, resp, nil
}

// movable is how many pieces can go from the one to the other.
func movable(st *State, req *inventoryv1.ReallocatePartsRequest) (int64, error) {
	if st.parts[req.GetPart()] == nil {
		return 0, noPart(req.GetPart())
	}
	for _, job := range []string{req.GetFromJob(), req.GetToJob()} {
		if st.holds[job] == nil {
			return 0, noHold(job)
		}
	}
	if req.GetFromJob() == req.GetToJob() {
		return 0, fault.New(fault.Invalid, "SAME_JOB", "a job cannot give to itself; name two jobs").WithField("to_job", "is the job that gives")
	}
	has := tallyOf(st.holds[req.GetFromJob()].doc)[req.GetPart()].held
	wants := tallyOf(st.holds[req.GetToJob()].doc)[req.GetPart()].wanted
	quantity := req.GetQuantity()
	if quantity == 0 {
		quantity = min(has, wants)
	}
	if quantity == 0 || quantity > has || quantity > wants {
		return 0, fault.New(fault.Precondition, "NOT_TO_BE_MOVED",
			"%s has %d of %s on the shelf and %s waits for %d; ask for no more than both, or look at the part again",
			req.GetFromJob(), has, req.GetPart(), req.GetToJob(), wants).
			With("part", req.GetPart()).With("held", fmt.Sprint(has)).With("wanted", fmt.Sprint(wants)).
			About("Hold", holdName(req.GetFromJob()))
	}
	return quantity, nil
}

// consequence says in one line what becomes of a job by a change of its hold.
func consequence(before, after *inventoryv1.Hold) string {
	job := after.GetJob()
	if after.GetState() != inventoryv1.HoldState_HOLD_STATE_SHORT {
		return job + " has all its parts"
	}
	eta := after.GetEta().AsTime()
	when := "waits until " + eta.Format(time.DateOnly)
	if !after.GetEtaOrdered() {
		when += " if what it lacks is ordered now"
	}
	if turn := after.GetTurn(); turn != nil && eta.After(turn.AsTime()) {
		days := int(math.Ceil(eta.Sub(turn.AsTime()).Hours() / 24))
		return fmt.Sprintf("%s %s, and loses its turn on %s: it moves by %d days or more", job, when, turn.AsTime().Format(time.DateOnly), days)
	}
	if before.GetState() != inventoryv1.HoldState_HOLD_STATE_SHORT {
		return fmt.Sprintf("%s had all its parts and %s", job, when)
	}
	return job + " " + when
}
