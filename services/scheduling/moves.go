package scheduling

import (
	"fmt"
	"slices"
	"time"

	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

const (
	// movesKept is how many moves can be taken back one after the other.
	movesKept = 20
	// moveKept is how long a move can be taken back: what is older lies in a past
	// that no plan goes back to.
	moveKept = 24 * time.Hour
)

// handMove is a move made by hand, and what it takes to undo it.
type handMove struct {
	Made *schedulingv1.MoveMade
	At   time.Time
}

func (st *State) moveMade(m *schedulingv1.MoveMade, at time.Time) {
	st.moved++
	st.moves = slices.DeleteFunc(slices.Clone(st.moves), func(old handMove) bool { return old.At.Add(moveKept).Before(at) })
	st.moves = append(st.moves, handMove{m, at})
	if over := len(st.moves) - movesKept; over > 0 {
		st.moves = st.moves[over:]
	}
}

func (st *State) moveUndone(move string) {
	st.moves = slices.DeleteFunc(slices.Clone(st.moves), func(old handMove) bool { return old.Made.GetMove() == move })
}

// remember notes what a move by hand changed against the state before it, and gives
// the move's name; nothing, if it changed nothing or is only shown.
func (d *draft) remember(st *State, onlyShown bool, what string, jobs ...string) string {
	made := &schedulingv1.MoveMade{Move: fmt.Sprintf("move-%d", st.moved+1), What: what, Jobs: jobs}
	for _, job := range d.state.jobs() {
		old, now := st.open[job].booking, d.state.open[job].booking
		if old != nil && now != nil && (!samePlace(old, now) || old.GetPinned() != now.GetPinned()) {
			made.Before = append(made.Before, placeOf(old))
		}
	}
	if len(made.GetBefore()) == 0 || onlyShown {
		return ""
	}
	d.add(made)
	return made.GetMove()
}

func placeOf(b *schedulingv1.Booking) *schedulingv1.Place {
	return &schedulingv1.Place{
		Job: b.GetJob(), When: b.GetWhen(), Bay: b.GetBay(), Technician: b.GetTechnician(), Tools: b.GetTools(),
		Pinned: b.GetPinned(), PinReason: b.GetPinReason(),
	}
}
