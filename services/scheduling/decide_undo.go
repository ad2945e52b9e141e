package scheduling

import (
	"slices"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/engine/planner"
	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// undoMove puts back what the last move by hand moved: the moved jobs exactly, and
// what made room for them as far as it still fits. Moves are taken back newest first.
func (st *State) undoMove(req *schedulingv1.UndoMoveRequest, in sitelog.Input) ([]proto.Message, *schedulingv1.UndoMoveResponse, error) {
	made, err := st.lastMove(req.GetMove(), in)
	if err != nil {
		return nil, nil, err
	}
	d := newDraft(st, in)
	o := order{cause: made.GetWhat() + " was taken back", asked: map[string]asked{}, before: map[string]*schedulingv1.Place{}}
	for _, p := range made.GetBefore() {
		if !slices.Contains(made.GetJobs(), p.GetJob()) {
			o.before[p.GetJob()] = p
			continue
		}
		back, err := st.goesBack(p, in)
		if err != nil {
			return nil, nil, err
		}
		if back != nil {
			o.asked[p.GetJob()] = *back
		} else if b := st.open[p.GetJob()].booking; b.GetPinned() { // it had no place, and got the pin with one
			d.add(&schedulingv1.BookingUnpinned{Booking: b.GetName()})
		}
	}
	out, err := d.replan(o)
	switch {
	case err != nil:
		return nil, nil, err
	case out.refused != nil:
		return nil, nil, impossible(out.refused)
	}
	d.add(&schedulingv1.MoveUndone{Move: made.GetMove()})
	resp := &schedulingv1.UndoMoveResponse{Undone: made.GetWhat(), Move: made.GetMove()}
	for _, job := range d.state.jobs() {
		if old, now := st.open[job].booking, d.state.open[job].booking; old != nil && now != nil && !samePlace(old, now) {
			resp.Changes = append(resp.Changes, changeOf(old, now))
		}
	}
	return d.unless(req.GetValidateOnly()), resp, nil
}

// lastMove finds the move to be undone.
func (st *State) lastMove(move string, in sitelog.Input) (*schedulingv1.MoveMade, error) {
	if len(st.moves) == 0 || st.moves[len(st.moves)-1].At.Add(moveKept).Before(in.Now) {
		return nil, fault.New(fault.Precondition, "NOTHING_TO_UNDO", "no booking was moved by hand within a day; there is nothing to take back")
	}
	last := st.moves[len(st.moves)-1].Made
	if move == "" || move == last.GetMove() {
		return last, nil
	}
	if slices.ContainsFunc(st.moves, func(m handMove) bool { return m.Made.GetMove() == move }) {
		return nil, fault.New(fault.Precondition, "MOVE_NOT_LAST", "%s was made after it; take that back first", last.GetWhat()).
			With("move", move).With("last", last.GetMove())
	}
	return nil, fault.New(fault.NotFound, "MOVE_NOT_FOUND", "%s is not kept: it was taken back already, or is too old; ask for the last one by leaving the name out", move).
		About("Move", move)
}

// goesBack says where a moved job shall go again; nothing, if it had no place.
func (st *State) goesBack(p *schedulingv1.Place, in sitelog.Input) (*asked, error) {
	w := st.open[p.GetJob()]
	switch {
	case w == nil:
		return nil, fault.New(fault.Precondition, "BOOKING_ENDED", "%s is over; its move stays as it was", p.GetJob()).With("job", p.GetJob())
	case w.started():
		return st.handedBack(w, p, in)
	case !w.booked():
		return nil, fault.New(fault.Precondition, "BOOKING_WAITS", "%s has no place any more: %s", p.GetJob(), w.booking.GetWaitingFor()).With("job", p.GetJob())
	case p.GetWhen() == nil:
		return nil, nil //nolint:nilnil // it had no place, and that is no error
	}
	return &asked{
		wish: planner.Wish{Bay: p.GetBay(), Person: p.GetTechnician(), Start: timeOf(p.GetWhen().GetStart())},
		pin:  p.GetPinned(), pinReason: p.GetPinReason(),
	}, nil
}

// handedBack gives begun work back to who had it. Its bay and start stay.
func (st *State) handedBack(w *work, p *schedulingv1.Place, in sitelog.Input) (*asked, error) {
	if p.GetBay() != w.booking.GetBay() || p.GetTechnician() == "" || !proto.Equal(p.GetWhen().GetStart(), w.booking.GetWhen().GetStart()) {
		return nil, begunStays(w)
	}
	req := &schedulingv1.MoveBookingRequest{Job: p.GetJob(), Technician: p.GetTechnician()}
	if facts := st.notForBegun(w, req, in.Now); len(facts) > 0 {
		return nil, impossible(&planner.Impossible{Job: p.GetJob(), Facts: facts})
	}
	return &asked{wish: planner.Wish{Person: p.GetTechnician()}}, nil
}
