package scheduling

import (
	"errors"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/fault"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

func wantFault(t *testing.T, err error, kind fault.Kind, reason string) *fault.Error {
	t.Helper()
	f, ok := errors.AsType[*fault.Error](err)
	if !ok || f.Kind != kind || f.Reason != reason {
		t.Fatalf("got %v (%s), want %s %s", err, fault.ReasonOf(err), kind, reason)
	}
	return f
}

func move(job string) *schedulingv1.MoveBookingRequest {
	return &schedulingv1.MoveBookingRequest{Job: job}
}

func TestAMoveArrangesTheRest(t *testing.T) {
	s := open(t)
	s.book("jobs/1", 2*time.Hour)
	s.book("jobs/2", 2*time.Hour)
	req := move("jobs/2")
	req.Bay, req.Start = "bays/one", ts(monday)
	req.ValidateOnly = true
	before := len(s.log)
	events, preview, err := s.st.moveBooking(req, s.input())
	if err != nil || len(events) != 0 {
		t.Fatalf("a preview gave %v, %v", events, err)
	}
	wantWhen(t, preview.GetBooking(), "bays/one", "Mon 08:00", "Mon 10:00")
	if len(preview.GetChanges()) != 1 || preview.GetChanges()[0].GetBooking() != "bookings/1" {
		t.Fatalf("the preview says %v", preview.GetChanges())
	}
	if len(s.log) != before || s.booking("jobs/2").GetBay() != "bays/two" {
		t.Fatal("a preview changed the state")
	}

	req.ValidateOnly, req.Pin = false, true
	events, done, err := s.st.moveBooking(req, s.input())
	if err != nil {
		t.Fatal(err)
	}
	s.apply(events)
	if !proto.Equal(preview.GetChanges()[0], done.GetChanges()[0]) {
		t.Errorf("previewed %v, did %v", preview.GetChanges(), done.GetChanges())
	}
	if b := s.booking("jobs/2"); !b.GetPinned() || b.GetBay() != "bays/one" {
		t.Errorf("moved to %v", b)
	}
	if b := s.booking("jobs/1"); b.GetBay() != "bays/two" {
		t.Errorf("jobs/1 made no room: %v", b)
	}
}

// TestImpossibleWishesAreRefusedWithTheReason: each names what stands in the way.
func TestImpossibleWishesAreRefusedWithTheReason(t *testing.T) {
	s := open(t)
	s.set(bay("bays/pit", "pit"))
	s.set(person("people/cleo", "paint"))
	s.book("jobs/1", 2*time.Hour)
	s.hear(began("jobs/1")) // in bays/one with anna
	s.book("jobs/2", 2*time.Hour)
	for name, c := range map[string]struct {
		change func(*schedulingv1.MoveBookingRequest)
		facts  string
		words  string
	}{
		"wrong kind of bay": {func(r *schedulingv1.MoveBookingRequest) { r.Bay = "bays/pit" }, "NO_BAY", "bays/pit is pit"},
		"unknown bay":       {func(r *schedulingv1.MoveBookingRequest) { r.Bay = "bays/ten" }, "NO_BAY", "no bay bays/ten"},
		"no licence":        {func(r *schedulingv1.MoveBookingRequest) { r.Technician = "people/cleo" }, "NO_PERSON", "people/cleo has not engine"},
		"past":              {func(r *schedulingv1.MoveBookingRequest) { r.Start = ts(monday.Add(-time.Hour)) }, "PAST", "has passed"},
		"over begun work":   {func(r *schedulingv1.MoveBookingRequest) { r.Bay, r.Start = "bays/one", ts(monday.Add(time.Hour)) }, "HELD", "bays/one held by jobs/1 (begun)"},
		"at night": {func(r *schedulingv1.MoveBookingRequest) {
			r.Technician, r.Start = "people/ben", ts(monday.Add(14*time.Hour))
		}, "NOT_THERE", "people/ben is not there"},
	} {
		t.Run(name, func(t *testing.T) {
			req := move("jobs/2")
			c.change(req)
			events, _, err := s.st.moveBooking(req, s.input())
			f := wantFault(t, err, fault.Precondition, "WISH_IMPOSSIBLE")
			if len(events) != 0 || len(f.Unmet) != 1 || f.Unmet[0].Type != c.facts || !strings.Contains(f.Unmet[0].Description, c.words) {
				t.Errorf("refused with %+v, want %s: %s", f.Unmet, c.facts, c.words)
			}
		})
	}
}

func TestMovesThatMakeNoSense(t *testing.T) {
	s := open(t)
	s.book("jobs/1", 2*time.Hour)
	s.hear(began("jobs/1"))
	s.hear(confirmed("jobs/2", plan(1, time.Hour)))
	s.book("jobs/3", time.Hour)
	s.hear(held("jobs/4", 1))
	for job, reason := range map[string]string{
		"jobs/1": "BOOKING_STARTED", "jobs/2": "BOOKING_NOT_READY", "jobs/4": "BOOKING_NOT_FOUND", "jobs/9": "BOOKING_NOT_FOUND",
	} {
		if _, _, err := s.st.moveBooking(move(job), s.input()); fault.ReasonOf(err) != reason {
			t.Errorf("moving %s: %v, want %s", job, err, reason)
		}
	}
	if _, _, err := s.st.pinBooking(&schedulingv1.PinBookingRequest{Job: "jobs/2"}, s.input()); fault.ReasonOf(err) != "BOOKING_WAITS" {
		t.Errorf("pinning what waits: %v", err)
	}
}

func TestAPinHoldsAndIsLetGo(t *testing.T) {
	s := open(t)
	s.set(&schedulingv1.Resource{Name: "bays/two", Title: "two", Kind: schedulingv1.ResourceKind_RESOURCE_KIND_BAY, Type: "lift", Retired: true})
	s.book("jobs/1", 2*time.Hour)
	s.book("jobs/2", 2*time.Hour)
	events, resp, err := s.st.pinBooking(&schedulingv1.PinBookingRequest{Job: "jobs/2", Reason: "the customer waits"}, s.input())
	if err != nil || !resp.GetBooking().GetPinned() || resp.GetBooking().GetPinReason() != "the customer waits" {
		t.Fatalf("pinned as %v, %v", resp, err)
	}
	s.apply(events)
	// The plan of jobs/1 doubles: it would push jobs/2, which is pinned, so it goes behind.
	req := move("jobs/1")
	req.Start = ts(monday.Add(time.Hour))
	_, _, err = s.st.moveBooking(req, s.input())
	f := wantFault(t, err, fault.Precondition, "WISH_IMPOSSIBLE")
	if !strings.Contains(f.Message, "bays/one held by jobs/2 (pinned)") {
		t.Errorf("refused with %q", f.Message)
	}
	events, _, err = s.st.unpinBooking(&schedulingv1.UnpinBookingRequest{Job: "jobs/2"}, s.input())
	if err != nil {
		t.Fatal(err)
	}
	s.apply(events)
	if _, _, err = s.st.moveBooking(req, s.input()); err != nil {
		t.Errorf("the reason was lifted and the wish is still refused: %v", err)
	}
}

func TestBlocksMoveWhatLiesThere(t *testing.T) {
	s := open(t)
	s.book("jobs/1", 2*time.Hour)
	events, resp, err := s.st.blockResource(&schedulingv1.BlockResourceRequest{
		Resource: "bays/one", When: interval(monday.Add(time.Hour), monday.Add(9*time.Hour)), Reason: "the lift drips",
	}, s.input())
	if err != nil {
		t.Fatal(err)
	}
	s.apply(events)
	wantWhen(t, s.booking("jobs/1"), "bays/two", "Mon 08:00", "Mon 10:00")
	if moved := s.last[1].(*schedulingv1.BookingMoved); !strings.Contains(moved.GetReason(), "the lift drips") {
		t.Errorf("moved because %q", moved.GetReason())
	}
	id := resp.GetResource().GetBlocks()[0].GetId()
	again, _, err := s.st.blockResource(&schedulingv1.BlockResourceRequest{
		Resource: "bays/one", When: interval(monday.Add(-2*time.Hour), monday), Reason: "late",
	}, s.input())
	_ = wantFault(t, err, fault.Invalid, "BLOCK_PAST")
	if len(again) > 0 {
		t.Error("refused and done")
	}
	events, unblocked, err := s.st.unblockResource(&schedulingv1.UnblockResourceRequest{Resource: "bays/one", Block: id}, s.input())
	if err != nil || len(unblocked.GetResource().GetBlocks()) != 0 {
		t.Fatalf("unblocked to %v, %v", unblocked, err)
	}
	s.apply(events)
	_, _, err = s.st.unblockResource(&schedulingv1.UnblockResourceRequest{Resource: "bays/one", Block: id}, s.input())
	_ = wantFault(t, err, fault.NotFound, "BLOCK_NOT_FOUND")
}

func TestResources(t *testing.T) {
	s := open(t)
	for name, r := range map[string]*schedulingv1.Resource{
		"kind against name": {Name: "bays/x", Title: "x", Kind: schedulingv1.ResourceKind_RESOURCE_KIND_TOOL, Type: "lift"},
		"bay of no kind":    {Name: "bays/x", Title: "x", Kind: schedulingv1.ResourceKind_RESOURCE_KIND_BAY},
		"skilled bay":       {Name: "bays/x", Title: "x", Kind: schedulingv1.ResourceKind_RESOURCE_KIND_BAY, Type: "lift", Skills: []*schedulingv1.Qualification{{Skill: "engine"}}},
		"shift of no time":  {Name: "people/x", Title: "x", Kind: schedulingv1.ResourceKind_RESOURCE_KIND_PERSON, Shifts: []*schedulingv1.Shift{{Weekday: 1, FromMinute: 60, ToMinute: 60}}},
		"blocks":            {Name: "people/x", Title: "x", Kind: schedulingv1.ResourceKind_RESOURCE_KIND_PERSON, Blocks: []*schedulingv1.Block{{Id: "b"}}},
	} {
		_, _, err := s.st.setResource(&schedulingv1.SetResourceRequest{Resource: r}, s.input())
		if f := wantFault(t, err, fault.Invalid, "RESOURCE_INVALID"); len(f.Fields) != 1 {
			t.Errorf("%s: fields %v", name, f.Fields)
		}
	}
	if events, _, err := s.st.setResource(&schedulingv1.SetResourceRequest{Resource: bay("bays/one", "lift")}, s.input()); err != nil || len(events) > 0 {
		t.Errorf("nothing changed and %v was written (%v)", events, err)
	}
	s.book("jobs/1", time.Hour)
	s.hear(began("jobs/1"))
	gone := bay("bays/one", "lift")
	gone.Retired = true
	_, _, err := s.st.setResource(&schedulingv1.SetResourceRequest{Resource: gone}, s.input())
	_ = wantFault(t, err, fault.Precondition, "RESOURCE_IN_USE")
}

func TestAWaitingJobIsTriedAgainWhenResourcesChange(t *testing.T) {
	s := newShop(t)
	s.set(bay("bays/one", "lift"))
	s.set(person("people/cleo", "paint"))
	s.book("jobs/1", time.Hour)
	wantState(t, s.booking("jobs/1"), waiting)
	if why := s.booking("jobs/1").GetWaitingFor(); !strings.Contains(why, "nobody has engine") {
		t.Errorf("waits for %q", why)
	}
	events, resp, err := s.st.setResource(&schedulingv1.SetResourceRequest{Resource: person("people/anna", "engine")}, s.input())
	if err != nil || len(resp.GetChanges()) != 1 {
		t.Fatalf("got %v, %v", resp, err)
	}
	s.apply(events)
	wantState(t, s.booking("jobs/1"), booked)
}

// TestBegunWorkIsHandedOver: anna falls ill; ben takes over, and the car stays.
func TestBegunWorkIsHandedOver(t *testing.T) {
	s := open(t)
	s.set(person("people/cleo", "paint"))
	s.book("jobs/1", 4*time.Hour)
	s.hear(began("jobs/1"))
	s.wait(time.Hour)
	who := s.booking("jobs/1").GetTechnician()
	events, _, err := s.st.blockResource(&schedulingv1.BlockResourceRequest{
		Resource: who, When: interval(s.now, s.now.AddDate(0, 0, 1)), Reason: "ill",
	}, s.input())
	if err != nil {
		t.Fatal(err)
	}
	s.apply(events)
	wantWhen(t, s.booking("jobs/1"), "bays/one", "Mon 08:00", "Tue 12:00") // she would go on tomorrow

	req := move("jobs/1")
	req.Technician = "people/cleo"
	_, _, err = s.st.moveBooking(req, s.input())
	if f := wantFault(t, err, fault.Precondition, "WISH_IMPOSSIBLE"); !strings.Contains(f.Message, "people/cleo has not engine") {
		t.Errorf("refused with %q", f.Message)
	}
	req.Technician = map[string]string{"people/anna": "people/ben", "people/ben": "people/anna"}[who]
	events, resp, err := s.st.moveBooking(req, s.input())
	if err != nil {
		t.Fatal(err)
	}
	s.apply(events)
	wantWhen(t, resp.GetBooking(), "bays/one", "Mon 08:00", "Mon 12:00")
	req.Bay = "bays/two"
	_, _, err = s.st.moveBooking(req, s.input())
	_ = wantFault(t, err, fault.Precondition, "BOOKING_STARTED")
}
