package scheduling

import (
	"time"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/sitelog"
)

// due is when the board stops being true, or a job that is over may leave the state.
func due(st *State) (time.Time, bool) {
	late, isLate := st.late()
	leaves, leave := st.shelf.Due()
	if leave && (!isLate || leaves.Before(late)) {
		return leaves, true
	}
	return late, isLate
}

// late is when the board stops being true: begun work reaches its end unfinished,
// or a booked start has passed with nobody starting.
func (st *State) late() (time.Time, bool) {
	var first time.Time
	note := func(t time.Time) {
		if first.IsZero() || t.Before(first) {
			first = t
		}
	}
	for _, w := range st.open {
		switch {
		case w.started():
			note(timeOf(w.booking.GetWhen().GetEnd()))
		case w.booked():
			note(timeOf(w.booking.GetWhen().GetStart()).Add(startGrace))
		}
	}
	return first, !first.IsZero()
}

// fire pushes on what is late, and lets go of what is over.
func fire(st *State, in sitelog.Input) ([]proto.Message, error) {
	events, err := st.archiveRipe(in.Now)
	if late, isLate := st.late(); err != nil || !isLate || late.After(in.Now) {
		return events, err
	}
	d := newDraft(st, in)
	_, err = d.replan(order{})
	return append(events, d.events...), err
}
