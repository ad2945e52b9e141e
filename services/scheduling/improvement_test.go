package scheduling

import (
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/engine/planner"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// lay books a job where it would never lie by itself, as a plan of other times may have.
func (s *shop) lay(job, bay, person string, after, long time.Duration) {
	s.t.Helper()
	s.book(job, long)
	b := clone(s.booking(job))
	start := s.now.Add(after)
	b.Bay, b.Technician, b.When, b.Promised = bay, person, interval(start, start.Add(long)), ts(start.Add(long))
	s.apply([]proto.Message{&schedulingv1.BookingMoved{Booking: b, From: s.booking(job).GetWhen(), Reason: "of other times"}})
}

const day = 24 * time.Hour

// look is a short search, the same every time.
func (s *shop) look() *improvement {
	s.t.Helper()
	found, err := s.st.lookFor(s.now, planner.Search{Seed: 1, Rounds: 5})
	if err != nil {
		s.t.Fatalf("look: %v", err)
	}
	return found
}

// adopt hands in what was found and gives what it saves.
func (s *shop) adopt(found *improvement) float64 {
	s.t.Helper()
	events, saved, err := s.st.adopt(found, s.input())
	if err != nil {
		s.t.Fatalf("adopt: %v", err)
	}
	s.apply(events)
	return saved
}

func TestAnImprovementSaysWhatItSaves(t *testing.T) {
	s := open(t)
	s.lay("jobs/1", "bays/one", "people/anna", 2*day, 3*time.Hour)
	found := s.look()
	if found == nil {
		t.Fatal("nothing was found")
	}
	// Two days sooner saves 2,880 minutes of a quarter each; the move costs 30 and 210 for how far. It
	// begins five minutes after now at the earliest: 1.25 less.
	if saved := s.adopt(found); saved != 2875*0.25-240 {
		t.Errorf("it saves %v", saved)
	}
	b := s.booking("jobs/1")
	wantWhen(t, b, "bays/one", "Mon 08:05", "Mon 11:05")
	if want := "improved: this move saves 7 h 59 min (weighted); "; !strings.HasPrefix(b.GetReason(), want) {
		t.Errorf("the board says %q, want %q", b.GetReason(), want)
	}
	moved, ok := s.last[0].(*schedulingv1.BookingMoved)
	if !ok || moved.GetReason() != b.GetReason() || !timeOf(moved.GetFrom().GetStart()).Equal(monday.Add(2*day)) {
		t.Errorf("the event is %v", s.last[0])
	}
	if again := s.look(); again != nil {
		t.Errorf("a second search found %v", again)
	}
}

// TestWhatAnImprovementLeaves: each of these lies two days off and could begin at once.
func TestWhatAnImprovementLeaves(t *testing.T) {
	for name, prepare := range map[string]func(*shop){
		"what is pinned": func(s *shop) {
			s.apply([]proto.Message{&schedulingv1.BookingPinned{Booking: "bookings/1", Reason: "the owner waits"}})
		},
		"what was moved by hand": func(s *shop) {
			s.apply([]proto.Message{&schedulingv1.MoveMade{Move: "move-1", What: "the move of jobs/1", Jobs: []string{"jobs/1"}}})
		},
		"what begins soon": func(s *shop) { s.now = s.now.Add(2*day - 30*time.Minute) },
		"what would gain little": func(s *shop) {
			s.now = s.now.Add(day + 8*time.Hour)
		},
	} {
		t.Run(name, func(t *testing.T) {
			s := open(t)
			s.lay("jobs/1", "bays/one", "people/anna", 2*day, 3*time.Hour)
			prepare(s)
			if found := s.look(); found != nil {
				t.Errorf("it would move: %v", found.relocations)
			}
		})
	}
}

// TestAnImprovementIsRefused if something has happened since it was looked for.
func TestAnImprovementIsRefused(t *testing.T) {
	for name, meanwhile := range map[string]func(t *testing.T, s *shop){
		"it was moved by hand": func(t *testing.T, s *shop) {
			req := move("jobs/1")
			req.Start = ts(monday.Add(26 * time.Hour))
			events, _, err := s.st.moveBooking(req, s.input())
			if err != nil {
				t.Fatal(err)
			}
			s.apply(events)
		},
		"it was pinned": func(_ *testing.T, s *shop) {
			s.apply([]proto.Message{&schedulingv1.BookingPinned{Booking: "bookings/1"}})
		},
		"another took the place": func(_ *testing.T, s *shop) {
			s.lay("jobs/2", "bays/one", "people/anna", 0, 8*time.Hour)
			s.lay("jobs/3", "bays/two", "people/ben", 0, 8*time.Hour)
		},
		"it was begun":               func(_ *testing.T, s *shop) { s.hear(began("jobs/1")) },
		"the moment has passed":      func(_ *testing.T, s *shop) { s.now = s.now.Add(time.Hour) },
		"it was adopted by its twin": func(_ *testing.T, s *shop) { s.adopt(s.look()) },
		"its parts are no longer there": func(_ *testing.T, s *shop) {
			s.hear(short("jobs/1", 1, time.Time{}))
		},
	} {
		t.Run(name, func(t *testing.T) {
			s := open(t)
			s.lay("jobs/1", "bays/one", "people/anna", 2*day, 3*time.Hour)
			found := s.look()
			meanwhile(t, s)
			before := clone(s.booking("jobs/1"))
			if saved := s.adopt(found); saved != 0 || len(s.last) > 0 {
				t.Errorf("it was adopted: %v", s.last)
			}
			if !proto.Equal(before, s.booking("jobs/1")) {
				t.Errorf("%v became %v", before, s.booking("jobs/1"))
			}
		})
	}
}

// TestUndoAfterAnImprovement: a move by hand goes back although the plan was improved since, and
// what was improved stays improved.
func TestUndoAfterAnImprovement(t *testing.T) {
	s := open(t)
	s.book("jobs/1", 2*time.Hour)
	old := clone(s.booking("jobs/1"))
	req := move("jobs/1")
	req.Bay, req.Start, req.Pin = "bays/two", ts(monday.Add(day)), true
	events, _, err := s.st.moveBooking(req, s.input())
	if err != nil {
		t.Fatal(err)
	}
	s.apply(events)
	s.lay("jobs/2", "bays/two", "people/ben", 3*day, 3*time.Hour)
	if s.adopt(s.look()) == 0 {
		t.Fatal("nothing was improved")
	}
	improved := clone(s.booking("jobs/2"))
	wantWhen(t, s.booking("jobs/1"), "bays/two", "Tue 08:00", "Tue 10:00")
	if events, _, err = s.st.undoMove(&schedulingv1.UndoMoveRequest{}, s.input()); err != nil {
		t.Fatal(err)
	}
	s.apply(events)
	if b := s.booking("jobs/1"); !samePlace(b, old) {
		t.Errorf("it went back to %v, and lay at %v", b, old)
	}
	if b := s.booking("jobs/2"); timeOf(b.GetWhen().GetStart()).After(timeOf(improved.GetWhen().GetStart()).Add(day)) {
		t.Errorf("%v became %v", improved, b)
	}
}

func TestSaves(t *testing.T) {
	for _, tt := range []struct {
		moves int
		saved float64
		want  string
	}{
		{1, 60, "improved: this move saves 1 h 00 min (weighted)"},
		{2, 125.6, "improved: this move and another save 2 h 06 min (weighted)"},
		{4, 6000, "improved: this move and 3 others save 100 h 00 min (weighted)"},
	} {
		if got := saves(tt.moves, tt.saved); got != tt.want {
			t.Errorf("%q, want %q", got, tt.want)
		}
	}
}
