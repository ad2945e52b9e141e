package scheduling

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/durationpb"

	"ramprow/internal/platform/fault"
	jobv1 "ramprow/proto/ramprow/job/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

func (s *shop) swap(t *testing.T, job, other string) *schedulingv1.SwapBookingsResponse {
	t.Helper()
	events, resp, err := s.st.swapBookings(&schedulingv1.SwapBookingsRequest{Job: job, Other: other}, s.input())
	if err != nil {
		t.Fatal(err)
	}
	s.apply(events)
	return resp
}

func (s *shop) undo(t *testing.T, move string) *schedulingv1.UndoMoveResponse {
	t.Helper()
	events, resp, err := s.st.undoMove(&schedulingv1.UndoMoveRequest{Move: move}, s.input())
	if err != nil {
		t.Fatal(err)
	}
	s.apply(events)
	return resp
}

func (s *shop) moveTo(t *testing.T, job, bay string, start time.Time) *schedulingv1.MoveBookingResponse {
	t.Helper()
	events, resp, err := s.st.moveBooking(&schedulingv1.MoveBookingRequest{Job: job, Bay: bay, Start: ts(start)}, s.input())
	if err != nil {
		t.Fatal(err)
	}
	s.apply(events)
	return resp
}

// board says where everything lies.
func (s *shop) board() string {
	var lines []string
	for _, job := range s.st.jobs() {
		b := s.booking(job)
		lines = append(lines, fmt.Sprint(job, b.GetBay(), b.GetTechnician(), b.GetTools(), timeOf(b.GetWhen().GetStart()), timeOf(b.GetWhen().GetEnd()), b.GetPinned()))
	}
	return strings.Join(lines, "\n")
}

// oneBay is a shop in which everything lies one after the other.
func oneBay(t *testing.T, hours ...int) *shop {
	s := newShop(t)
	s.set(bay("bays/one", "lift"))
	s.set(person("people/anna", "engine"))
	for i, h := range hours {
		s.book(fmt.Sprintf("jobs/%d", i+1), time.Duration(h)*time.Hour)
	}
	return s
}

func TestSwapInOneBay(t *testing.T) {
	s := oneBay(t, 1, 3)
	wantWhen(t, s.booking("jobs/2"), "bays/one", "Mon 09:00", "Mon 12:00")
	s.swap(t, "jobs/1", "jobs/2")
	wantWhen(t, s.booking("jobs/2"), "bays/one", "Mon 08:00", "Mon 11:00")
	wantWhen(t, s.booking("jobs/1"), "bays/one", "Mon 11:00", "Mon 12:00")
}

func TestSwapBetweenBaysKeepsPins(t *testing.T) {
	s := open(t)
	s.book("jobs/1", 2*time.Hour)
	s.book("jobs/2", 3*time.Hour)
	events, _, err := s.st.pinBooking(&schedulingv1.PinBookingRequest{Job: "jobs/2", Reason: "promised"}, s.input())
	if err != nil {
		t.Fatal(err)
	}
	s.apply(events)
	before := s.board()
	_, shown, err := s.st.swapBookings(&schedulingv1.SwapBookingsRequest{Job: "jobs/1", Other: "jobs/2", ValidateOnly: true}, s.input())
	if err != nil || shown.GetMove() != "" || s.board() != before {
		t.Fatalf("a preview gave %v, %v", shown, err)
	}
	done := s.swap(t, "jobs/1", "jobs/2")
	wantWhen(t, s.booking("jobs/1"), "bays/two", "Mon 08:00", "Mon 10:00")
	wantWhen(t, s.booking("jobs/2"), "bays/one", "Mon 08:00", "Mon 11:00")
	if b := s.booking("jobs/2"); !b.GetPinned() || b.GetPinReason() != "promised" {
		t.Errorf("the pin was lost: %v", b)
	}
	if done.GetMove() != "move-1" || shown.GetBooking().GetBay() != done.GetBooking().GetBay() {
		t.Errorf("shown %v, done %v", shown, done)
	}
}

func TestSwapsThatMakeNoSense(t *testing.T) {
	s := open(t)
	s.set(bay("bays/pit", "pit"))
	s.book("jobs/1", time.Hour)
	s.book("jobs/2", time.Hour)
	s.hear(confirmed("jobs/3", plan(1, time.Hour)))
	inPit := plan(1, time.Hour)
	inPit.BayKinds = []string{"pit"}
	s.hear(confirmed("jobs/4", inPit))
	s.hear(held("jobs/4", 1))
	s.hear(began("jobs/2"))
	for _, c := range []struct{ job, other, reason string }{
		{"jobs/1", "jobs/1", "SWAP_WITH_ITSELF"},
		{"jobs/1", "jobs/2", "BOOKING_STARTED"},
		{"jobs/3", "jobs/1", "BOOKING_WAITS"},
		{"jobs/1", "jobs/9", "BOOKING_NOT_FOUND"},
		{"jobs/1", "jobs/4", "WISH_IMPOSSIBLE"},
	} {
		_, _, err := s.st.swapBookings(&schedulingv1.SwapBookingsRequest{Job: c.job, Other: c.other}, s.input())
		if fault.ReasonOf(err) != c.reason {
			t.Errorf("swapping %s and %s: %v, want %s", c.job, c.other, err, c.reason)
		}
	}
}

// TestUndoGoesBackStepByStep: three moves, then three times back, each to exactly the
// board before it.
func TestUndoGoesBackStepByStep(t *testing.T) {
	s := open(t)
	for i := range 4 {
		s.book(fmt.Sprintf("jobs/%d", i+1), time.Duration(1+i)*time.Hour)
	}
	boards := []string{s.board()}
	last := s.moveTo(t, "jobs/4", "bays/one", monday).GetMove()
	boards = append(boards, s.board())
	s.swap(t, "jobs/1", "jobs/2")
	boards = append(boards, s.board())
	s.moveTo(t, "jobs/3", "bays/two", monday.Add(time.Hour))
	_, _, err := s.st.undoMove(&schedulingv1.UndoMoveRequest{Move: last}, s.input())
	_ = wantFault(t, err, fault.Precondition, "MOVE_NOT_LAST")
	for i := len(boards) - 1; i >= 0; i-- {
		before := s.board()
		events, shown, err := s.st.undoMove(&schedulingv1.UndoMoveRequest{ValidateOnly: true}, s.input())
		if err != nil || len(events) > 0 || s.board() != before {
			t.Fatalf("a preview changed something: %v, %v", events, err)
		}
		done := s.undo(t, "")
		if got := s.board(); got != boards[i] {
			t.Errorf("after undoing %s:\n%s\nwant\n%s", done.GetUndone(), got, boards[i])
		}
		if shown.GetMove() == "" || shown.GetMove() != done.GetMove() {
			t.Errorf("%s: shown is %q, taken back %q", done.GetUndone(), shown.GetMove(), done.GetMove())
		}
		if len(done.GetChanges()) == 0 || len(shown.GetChanges()) != len(done.GetChanges()) {
			t.Errorf("%s: shown %v, done %v", done.GetUndone(), shown.GetChanges(), done.GetChanges())
		}
	}
	_, _, err = s.st.undoMove(&schedulingv1.UndoMoveRequest{}, s.input())
	_ = wantFault(t, err, fault.Precondition, "NOTHING_TO_UNDO")
	_, _, err = s.st.undoMove(&schedulingv1.UndoMoveRequest{Move: last}, s.input())
	_ = wantFault(t, err, fault.Precondition, "NOTHING_TO_UNDO")
}

func TestUndoOfWhatCannotGoBack(t *testing.T) {
	for name, c := range map[string]struct {
		happens func(*shop)
		reason  string
		words   string
	}{
		"begun":     {func(s *shop) { s.hear(began("jobs/2")) }, "BOOKING_STARTED", "has begun"},
		"over":      {func(s *shop) { s.hear(began("jobs/2")); s.wait(time.Hour); s.hear(&jobv1.WorkFinished{Job: "jobs/2"}) }, "BOOKING_ENDED", "is over"},
		"past":      {func(s *shop) { s.wait(5 * time.Hour) }, "WISH_IMPOSSIBLE", "has passed"},
		"day after": {func(s *shop) { s.wait(25 * time.Hour) }, "NOTHING_TO_UNDO", "within a day"},
		"in the way": {func(s *shop) {
			s.hear(began("jobs/1")) // in the bay where jobs/2 lay
			s.hear(done("jobs/1", 9*time.Hour))
		}, "WISH_IMPOSSIBLE", "jobs/1 (begun)"},
	} {
		t.Run(name, func(t *testing.T) {
			s := oneBay(t, 1, 3)
			s.moveTo(t, "jobs/2", "bays/one", monday)
			s.moveTo(t, "jobs/1", "bays/one", monday)
			s.undo(t, "move-2")
			if name == "in the way" {
				s.undo(t, "")
				s.moveTo(t, "jobs/2", "bays/one", monday.Add(3*time.Hour))
			}
			c.happens(s)
			_, _, err := s.st.undoMove(&schedulingv1.UndoMoveRequest{}, s.input())
			if fault.ReasonOf(err) != c.reason || !strings.Contains(err.Error(), c.words) {
				t.Errorf("got %v, want %s: %s", err, c.reason, c.words)
			}
		})
	}
}

func TestUndoOfAHandingOver(t *testing.T) {
	s := open(t)
	s.book("jobs/1", 4*time.Hour)
	s.hear(began("jobs/1"))
	was := s.booking("jobs/1").GetTechnician()
	other := map[string]string{"people/anna": "people/ben", "people/ben": "people/anna"}[was]
	req := move("jobs/1")
	req.Technician = other
	events, _, err := s.st.moveBooking(req, s.input())
	if err != nil {
		t.Fatal(err)
	}
	s.apply(events)
	s.undo(t, "")
	if got := s.booking("jobs/1").GetTechnician(); got != was {
		t.Errorf("%s has it, want %s", got, was)
	}
}

// TestUndoLeavesAPinThatItsMoveDidNotGive: a move to where the job lies already may still move others.
func TestUndoLeavesAPinThatItsMoveDidNotGive(t *testing.T) {
	s := open(t)
	s.book("jobs/1", time.Hour)
	s.book("jobs/2", time.Hour)
	there := &schedulingv1.MoveBookingRequest{Job: "jobs/2", Bay: "bays/two", Start: ts(monday.Add(6 * time.Hour)), Pin: true}
	again := func() *schedulingv1.MoveBookingResponse {
		events, resp, err := s.st.moveBooking(there, s.input())
		if err != nil {
			t.Fatal(err)
		}
		s.apply(events)
		return resp
	}
	again()
	s.now = s.now.Add(2 * time.Hour) // nobody has begun jobs/1
	if resp := again(); resp.GetMove() == "" || len(resp.GetChanges()) != 1 {
		t.Fatalf("jobs/1 did not move: %v", resp)
	}
	s.undo(t, "")
	if b := s.booking("jobs/2"); !b.GetPinned() {
		t.Errorf("the pin was lost: %v", b)
	}
}

// TestMovesKeptAreBounded: however much is moved, only the last ones can be undone.
func TestMovesKeptAreBounded(t *testing.T) {
	s := open(t)
	s.book("jobs/1", time.Hour)
	for i := range 3 * movesKept {
		s.moveTo(t, "jobs/1", "bays/one", monday.Add(time.Duration(i%2)*time.Hour+time.Hour))
	}
	if len(s.st.moves) != movesKept || s.st.moved != 3*movesKept {
		t.Errorf("%d moves are kept of %d", len(s.st.moves), s.st.moved)
	}
}

func TestEarliestPromise(t *testing.T) {
	s := open(t)
	s.book("jobs/1", 3*time.Hour)
	s.book("jobs/2", 5*time.Hour)
	ask := func(change func(*schedulingv1.GetEarliestPromiseRequest)) (*schedulingv1.GetEarliestPromiseResponse, error) {
		req := &schedulingv1.GetEarliestPromiseRequest{
			P50: durationpb.New(90 * time.Minute), P80: durationpb.New(2 * time.Hour), BayKinds: []string{"lift"}, Skills: []string{"engine"},
		}
		change(req)
		before, events := s.board(), len(s.log)
		resp, err := s.st.fork().earliestPromise(req, s.now)
		if s.board() != before || len(s.log) != events {
			t.Error("a question changed the board")
		}
		return resp, err
	}
	const layout = "Mon 15:04"
	for name, c := range map[string]struct {
		change      func(*schedulingv1.GetEarliestPromiseRequest)
		start, done string
	}{
		"now":        {func(*schedulingv1.GetEarliestPromiseRequest) {}, "Mon 11:00", "Mon 13:30"},
		"on tuesday": {func(r *schedulingv1.GetEarliestPromiseRequest) { r.Arrives = ts(monday.Add(25 * time.Hour)) }, "Tue 09:00", "Tue 11:00"},
		"p50 alone":  {func(r *schedulingv1.GetEarliestPromiseRequest) { r.P80 = nil }, "Mon 11:00", "Mon 13:00"},
		"parts late": {func(r *schedulingv1.GetEarliestPromiseRequest) {
			r.PartsEta, r.UntilPartsNeeded = ts(monday.Add(26*time.Hour)), durationpb.New(time.Hour)
		}, "Tue 09:00", "Tue 11:00"},
	} {
		resp, err := ask(c.change)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if got := timeOf(resp.GetWhen().GetStart()).Format(layout); got != c.start || timeOf(resp.GetWhen().GetEnd()).Format(layout) != c.done || resp.GetReason() == "" {
			t.Errorf("%s: %v, want %s to %s", name, resp, c.start, c.done)
		}
	}
	_, err := ask(func(r *schedulingv1.GetEarliestPromiseRequest) { r.Skills = []string{"paint"} })
	if f := wantFault(t, err, fault.Precondition, "WISH_IMPOSSIBLE"); !strings.Contains(f.Message, "nobody has paint") {
		t.Errorf("refused with %q", f.Message)
	}
}
