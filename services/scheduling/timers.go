package scheduling

import (
	"time"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/sitelog"
)

// due is when the board stops being true: begun work reaches its end unfinished,
// or a booked start has passed with nobody starting.
func due(st *State) (time.Time, bool) {
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

// fire pushes on what is late.
func fire(st *State, in sitelog.Input) ([]proto.Message, error) {
	d := newDraft(st, in)
	_, err := d.replan(order{})
	return d.events, err
}
