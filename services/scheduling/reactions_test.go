package scheduling

import (
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"

	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

const (
	waiting   = schedulingv1.BookingState_BOOKING_STATE_WAITING
	booked    = schedulingv1.BookingState_BOOKING_STATE_BOOKED
	started   = schedulingv1.BookingState_BOOKING_STATE_STARTED
	finished  = schedulingv1.BookingState_BOOKING_STATE_FINISHED
	cancelled = schedulingv1.BookingState_BOOKING_STATE_CANCELLED
)

// TestPlanAndPartsComeInEitherOrder: the logs of job and inventory are read
// apart, so either may be ahead.
func TestPlanAndPartsComeInEitherOrder(t *testing.T) {
	c, h := confirmed("jobs/1", plan(1, 3*time.Hour)), held("jobs/1", 1)
	for name, events := range map[string][]proto.Message{"plan first": {c, h}, "parts first": {h, c}} {
		t.Run(name, func(t *testing.T) {
			s := open(t)
			s.hear(events[0])
			if b := s.booking("jobs/1"); b.GetState() == booked {
				t.Fatalf("booked on half the news: %v", b)
			}
			s.hear(events[1])
			b := s.booking("jobs/1")
			wantState(t, b, booked)
			wantWhen(t, b, "bays/one", "Mon 08:00", "Mon 11:00")
			if !proto.Equal(b.GetPromised(), b.GetWhen().GetEnd()) || b.GetTitle() != "Work on jobs/1" {
				t.Errorf("the booking says %v", b)
			}
			if len(b.GetShares()) != 1 || b.GetShares()[0].GetPhase() != "open" || b.GetShares()[0].GetP50() == nil {
				t.Errorf("shares are %v", b.GetShares())
			}
		})
	}
}

func TestANewerPlanOverridesAndAnOlderOneIsIgnored(t *testing.T) {
	s := open(t)
	s.hear(held("jobs/1", 2))
	s.hear(confirmed("jobs/1", plan(1, time.Hour)))
	wantState(t, s.booking("jobs/1"), booked) // parts for the next plan are parts
	s.hear(&jobv1.PlanRevised{Job: "jobs/1", Plan: plan(2, 2*time.Hour), Reason: "a stud broke"})
	wantWhen(t, s.booking("jobs/1"), "bays/one", "Mon 08:00", "Mon 10:00")
	if moved, ok := s.last[1].(*schedulingv1.BookingMoved); !ok || !strings.Contains(moved.GetReason(), "a stud broke") {
		t.Errorf("moved without its reason: %v", s.last)
	}
	for _, stale := range []proto.Message{
		confirmed("jobs/1", plan(1, time.Hour)),
		&jobv1.PlanRevised{Job: "jobs/1", Plan: plan(2, 5*time.Hour)},
		short("jobs/1", 1, time.Time{}),
	} {
		if s.hear(stale); len(s.last) > 0 {
			t.Errorf("%T is stale and brought about %v", stale, s.last)
		}
	}
}

// TestPartsDecideWhenACarIsOpened: start not before eta less the time until the
// first part is needed (one hour here).
func TestPartsDecideWhenACarIsOpened(t *testing.T) {
	s := open(t)
	s.hear(confirmed("jobs/1", plan(1, 3*time.Hour)))
	wantState(t, s.booking("jobs/1"), waiting)

	s.hear(short("jobs/1", 1, time.Time{}))
	if why := s.booking("jobs/1").GetWaitingFor(); !strings.Contains(why, "Seal") {
		t.Errorf("waits for %q, want the missing part by name", why)
	}
	s.hear(short("jobs/1", 1, monday.Add(27*time.Hour))) // Tuesday 11:00
	wantWhen(t, s.booking("jobs/1"), "bays/one", "Tue 10:00", "Tue 13:30")
	if why := s.booking("jobs/1").GetReason(); !strings.Contains(why, "Tue 3 Mar 11:00") {
		t.Errorf("placed because %q, want the parts' time", why)
	}
	s.hear(short("jobs/1", 1, monday.Add(51*time.Hour))) // a day later
	wantWhen(t, s.booking("jobs/1"), "bays/one", "Wed 10:00", "Wed 13:30")
	if _, ok := s.last[1].(*schedulingv1.BookingMoved); !ok {
		t.Errorf("a later delivery brought about %v", s.last)
	}

	s.hear(&inventoryv1.HoldReleased{Job: "jobs/1", Hold: hold("jobs/1", 1, inventoryv1.HoldState_HOLD_STATE_EXPIRED), Reason: "nobody used it"})
	wantState(t, s.booking("jobs/1"), waiting)
	if why := s.booking("jobs/1").GetWaitingFor(); !strings.Contains(why, "nobody used it") {
		t.Errorf("waits for %q", why)
	}
	s.hear(held("jobs/1", 1))
	wantState(t, s.booking("jobs/1"), booked)
}

func TestTheSpanCoversTheNightAndTheBayStaysTaken(t *testing.T) {
	s := open(t)
	s.set(&schedulingv1.Resource{Name: "bays/two", Title: "two", Kind: schedulingv1.ResourceKind_RESOURCE_KIND_BAY, Type: "lift", Retired: true})
	s.book("jobs/1", 10*time.Hour) // 8.5 h on Monday, 1.5 h on Tuesday
	s.book("jobs/2", time.Hour)
	wantWhen(t, s.booking("jobs/1"), "bays/one", "Mon 08:00", "Tue 09:30")
	wantWhen(t, s.booking("jobs/2"), "bays/one", "Tue 09:30", "Tue 10:30")
}

func TestBegunWorkStaysAndTheOthersFollow(t *testing.T) {
	s := open(t)
	s.set(&schedulingv1.Resource{Name: "bays/two", Title: "two", Kind: schedulingv1.ResourceKind_RESOURCE_KIND_BAY, Type: "lift", Retired: true})
	s.book("jobs/1", 2*time.Hour)
	s.book("jobs/2", time.Hour)
	wantWhen(t, s.booking("jobs/2"), "bays/one", "Mon 10:00", "Mon 11:00")

	s.wait(10 * time.Minute)
	s.hear(began("jobs/1"))
	b := s.booking("jobs/1")
	wantState(t, b, started)
	wantWhen(t, b, "bays/one", "Mon 08:10", "Mon 10:10")
	wantWhen(t, s.booking("jobs/2"), "bays/one", "Mon 10:10", "Mon 11:10")
	if s.hear(began("jobs/1")); len(s.last) > 0 {
		t.Errorf("begun twice: %v", s.last)
	}

	s.wait(20 * time.Minute)
	s.hear(done("jobs/1", 3*time.Hour)) // it is worse than thought
	wantWhen(t, s.booking("jobs/1"), "bays/one", "Mon 08:10", "Mon 11:30")
	wantWhen(t, s.booking("jobs/2"), "bays/one", "Mon 11:30", "Mon 13:00")

	s.wait(30 * time.Minute)
	s.hear(&jobv1.WorkFinished{Job: "jobs/1"})
	b = s.booking("jobs/1")
	wantState(t, b, finished)
	if got := s.last[0].(*schedulingv1.BookingFinished).GetInBay().AsDuration(); got != 50*time.Minute {
		t.Errorf("was in the bay for %v, want 50 min", got)
	}
	if s.hear(&jobv1.InvoiceClosed{Job: "jobs/1"}); len(s.last) > 0 {
		t.Errorf("finished twice: %v", s.last)
	}
}

// TestAnOverrunPushesTheOthers: the board never says that a bay is free while a
// car stands in it.
func TestAnOverrunPushesTheOthers(t *testing.T) {
	s := open(t)
	s.set(&schedulingv1.Resource{Name: "bays/two", Title: "two", Kind: schedulingv1.ResourceKind_RESOURCE_KIND_BAY, Type: "lift", Retired: true})
	s.book("jobs/1", 2*time.Hour)
	s.hear(began("jobs/1"))
	s.book("jobs/2", time.Hour)
	s.wait(2*time.Hour + time.Minute)
	wantWhen(t, s.booking("jobs/1"), "bays/one", "Mon 08:00", "Mon 10:15")
	wantWhen(t, s.booking("jobs/2"), "bays/one", "Mon 10:15", "Mon 11:15")
	if moved, ok := s.last[1].(*schedulingv1.BookingMoved); !ok || !strings.HasPrefix(moved.GetReason(), "it takes longer than booked") {
		t.Errorf("overran with %v", s.last)
	}
	before := len(s.log)
	s.wait(14 * time.Minute)
	if len(s.log) == before {
		t.Error("a second overrun was not noticed")
	}
}

func TestABookingThatNobodyStartsIsPushedOn(t *testing.T) {
	s := open(t)
	s.book("jobs/1", 2*time.Hour)
	s.wait(14 * time.Minute)
	wantWhen(t, s.booking("jobs/1"), "bays/one", "Mon 08:00", "Mon 10:00")
	s.wait(time.Minute)
	wantWhen(t, s.booking("jobs/1"), "bays/one", "Mon 08:15", "Mon 10:15")
	if moved := s.last[0].(*schedulingv1.BookingMoved); !strings.HasPrefix(moved.GetReason(), "nobody has started it") {
		t.Errorf("pushed because %q", moved.GetReason())
	}
}

// TestTwoCarsCannotBeginInOneBay: a technician starts what was booked for later
// in a bay that is not empty. The record must not put two cars there.
func TestTwoCarsCannotBeginInOneBay(t *testing.T) {
	s := open(t)
	s.book("jobs/1", 2*time.Hour)
	s.book("jobs/2", 2*time.Hour)
	s.book("jobs/3", 2*time.Hour)
	s.hear(began("jobs/1"))
	s.hear(began("jobs/2"))
	if got := s.booking("jobs/3").GetBay(); got == "" {
		t.Fatalf("jobs/3 has no bay booked")
	}
	s.hear(began("jobs/3"))
	b := s.booking("jobs/3")
	wantState(t, b, started)
	if b.GetBay() != "" || b.GetTechnician() != "" || !strings.Contains(b.GetReason(), "finish that first") {
		t.Errorf("a third car began in a shop of two bays as %v", b)
	}
	s.hear(&jobv1.WorkFinished{Job: "jobs/2"})
	b = s.booking("jobs/3")
	if b.GetBay() != "bays/two" || b.GetTechnician() == "" {
		t.Errorf("the bay is free and jobs/3 is still at %v", b)
	}
}

// TestMissingPartsHoldBegunWorkUp: after one hour of work the seal is needed, and
// it comes on Tuesday at nine.
// A clock that is set back must not make a bay look free in which a car stands.
func TestAClockSetBackFreesNoBay(t *testing.T) {
	s := open(t)
	s.set(&schedulingv1.Resource{Name: "bays/two", Title: "two", Kind: schedulingv1.ResourceKind_RESOURCE_KIND_BAY, Type: "lift", Retired: true})
	s.now = monday.Add(5 * time.Hour)
	s.book("jobs/1", 2*time.Hour)
	s.hear(began("jobs/1"))
	s.now = monday.Add(time.Hour)
	s.book("jobs/2", time.Hour)
	s.hear(began("jobs/2"))
	wantState(t, s.booking("jobs/2"), started)
	if a, b := s.booking("jobs/1"), s.booking("jobs/2"); a.GetBay() == b.GetBay() {
		t.Errorf("both cars are said to stand in %s", a.GetBay())
	}
}

// Work that was held up by an absence must not be over in the past once the
// absence is taken back: the car still stands there.
func TestAnAbsenceTakenBackFreesNoBay(t *testing.T) {
	s := open(t)
	s.set(&schedulingv1.Resource{Name: "bays/two", Title: "two", Kind: schedulingv1.ResourceKind_RESOURCE_KIND_BAY, Type: "lift", Retired: true})
	s.book("jobs/1", 2*time.Hour)
	s.book("jobs/2", time.Hour)
	s.hear(began("jobs/1"))
	at := &commonv1.Interval{Start: stamp(monday.Add(time.Hour)), End: stamp(monday.Add(4 * time.Hour))}
	events, _, err := s.st.blockResource(&schedulingv1.BlockResourceRequest{Resource: s.booking("jobs/1").GetTechnician(), When: at, Reason: "ill"}, s.input())
	if err != nil {
		t.Fatal(err)
	}
	s.apply(events)
	s.wait(3 * time.Hour)
	s.hear(began("jobs/2"))
	events, _, err = s.st.unblockResource(&schedulingv1.UnblockResourceRequest{Resource: s.booking("jobs/1").GetTechnician(), Block: "block-1"}, s.input())
	if err != nil {
		t.Fatal(err)
	}
	s.apply(events)
	if b := s.booking("jobs/1"); !timeOf(b.GetWhen().GetEnd()).After(s.now) {
		t.Errorf("jobs/1 is under way and said to be over at %v", timeOf(b.GetWhen().GetEnd()))
	}
	if a, b := s.booking("jobs/1"), s.booking("jobs/2"); a.GetBay() == b.GetBay() {
		t.Errorf("both cars are said to stand in %s", a.GetBay())
	}
}

// A supplier that is often late: the car is opened on the day by which its parts
// are there in four deliveries of five, not on the day that was promised.
func TestACarIsOpenedOnceItsPartsAreThereLikely(t *testing.T) {
	s := open(t)
	s.hear(confirmed("jobs/1", plan(1, 3*time.Hour)))
	likely := func(eta, p80 time.Time) *inventoryv1.PartsShort {
		m := short("jobs/1", 1, eta)
		m.Hold.EtaP80 = stamp(p80)
		return m
	}
	tuesday, wednesday := monday.Add(27*time.Hour), monday.Add(51*time.Hour) // at 11:00
	s.hear(likely(tuesday, wednesday))
	wantWhen(t, s.booking("jobs/1"), "bays/one", "Wed 10:00", "Wed 13:30")
	if why := s.booking("jobs/1").GetReason(); !strings.Contains(why, "Wed 4 Mar 11:00") {
		t.Errorf("placed because %q, want the likely day of the parts", why)
	}
	s.hear(likely(tuesday, tuesday)) // the supplier became reliable
	wantWhen(t, s.booking("jobs/1"), "bays/one", "Tue 10:00", "Tue 13:30")

	undated := likely(tuesday, wednesday)
	undated.Hold.Lines = append(undated.Hold.Lines, &inventoryv1.HoldLine{Title: "Bolt", State: inventoryv1.LineState_LINE_STATE_SHORT})
	s.hear(undated)
	wantState(t, s.booking("jobs/1"), waiting)
	if why := s.booking("jobs/1").GetWaitingFor(); !strings.Contains(why, "Bolt") || strings.Contains(why, "Seal") {
		t.Errorf("waits for %q, want the one part that nobody ordered", why)
	}
}

func TestMissingPartsHoldBegunWorkUp(t *testing.T) {
	s := open(t)
	s.book("jobs/1", 3*time.Hour)
	s.hear(began("jobs/1"))
	s.hear(short("jobs/1", 1, monday.Add(25*time.Hour)))
	wantWhen(t, s.booking("jobs/1"), "bays/one", "Mon 08:00", "Tue 11:00")
}

func TestCancellingFreesTheBay(t *testing.T) {
	s := open(t)
	s.set(&schedulingv1.Resource{Name: "bays/two", Title: "two", Kind: schedulingv1.ResourceKind_RESOURCE_KIND_BAY, Type: "lift", Retired: true})
	s.book("jobs/1", 34*time.Hour) // four days
	s.book("jobs/2", 2*time.Hour)
	wantWhen(t, s.booking("jobs/2"), "bays/one", "Fri 08:00", "Fri 10:00")
	s.hear(&jobv1.JobCancelled{Job: "jobs/1", Reason: "sold"})
	wantState(t, s.booking("jobs/1"), cancelled)
	wantWhen(t, s.booking("jobs/2"), "bays/one", "Mon 08:00", "Mon 10:00")
	for _, late := range []proto.Message{held("jobs/1", 1), began("jobs/1"), done("jobs/1", time.Hour)} {
		if s.hear(late); len(s.last) > 0 {
			t.Errorf("%T after the end brought about %v", late, s.last)
		}
	}
}

func TestReworkAfterTheEndIsBookedAgain(t *testing.T) {
	s := open(t)
	s.book("jobs/1", time.Hour)
	s.hear(began("jobs/1"))
	s.wait(30 * time.Minute)
	s.hear(&jobv1.WorkFinished{Job: "jobs/1"})
	s.hear(held("jobs/1", 2))
	s.hear(&jobv1.PlanRevised{Job: "jobs/1", Plan: plan(2, time.Hour), Reason: "the code came back"})
	b := s.booking("jobs/1")
	wantState(t, b, booked)
	if b.GetTitle() != "Work on jobs/1" {
		t.Errorf("the title is lost: %v", b)
	}
}

// TestOnlyWhatMattersIsPlanned: news that makes no difference to any place moves
// nobody, and a place that is given up goes to whoever waits for one.
func TestOnlyWhatMattersIsPlanned(t *testing.T) {
	s := open(t)
	s.book("jobs/1", 9*time.Hour)
	s.book("jobs/2", 9*time.Hour)
	s.book("jobs/3", 2*time.Hour)
	late := s.booking("jobs/3").GetWhen().GetStart()

	s.hear(confirmed("jobs/4", plan(1, time.Hour)))
	if len(s.last) != 2 {
		t.Errorf("a job that waits for its parts brought about %v", s.last)
	}
	wantState(t, s.booking("jobs/4"), schedulingv1.BookingState_BOOKING_STATE_WAITING)
	s.hear(held("jobs/1", 1))
	if len(s.last) != 0 {
		t.Errorf("what was known already brought about %v", s.last)
	}

	s.hear(short("jobs/1", 1, time.Time{}))
	wantState(t, s.booking("jobs/1"), schedulingv1.BookingState_BOOKING_STATE_WAITING)
	if now := s.booking("jobs/3").GetWhen().GetStart(); !timeOf(now).Before(timeOf(late)) {
		t.Errorf("jobs/3 stays at %v although a bay is free at once", timeOf(now))
	}
	s.hear(&jobv1.JobCancelled{Job: "jobs/1", Reason: "sold"})
	if len(s.last) != 1 {
		t.Errorf("the end of a job without a place brought about %v", s.last)
	}
}

// A car that is late gives its place up, one that comes early may take it again, and a
// rush job goes first: each says why.
func TestAnAppointmentThatChanges(t *testing.T) {
	s := newShop(t)
	s.set(bay("bays/one", "lift"))
	s.set(person("people/anna", "engine"))
	s.book("jobs/1", 2*time.Hour)
	s.book("jobs/2", 2*time.Hour)
	moves := func(job string, cause string) {
		t.Helper()
		for _, m := range s.last {
			if moved, ok := m.(*schedulingv1.BookingMoved); ok && moved.GetBooking().GetJob() == job && strings.Contains(moved.GetReason(), cause) {
				return
			}
		}
		t.Errorf("%s was not moved with the cause %q: %v", job, cause, s.last)
	}
	wantWhen(t, s.booking("jobs/1"), "bays/one", "Mon 08:00", "Mon 10:00")
	s.hear(&jobv1.AppointmentChanged{Job: "jobs/1", ExpectedAt: stamp(monday.Add(24 * time.Hour)), Reason: "the customer is late"})
	wantWhen(t, s.booking("jobs/1"), "bays/one", "Tue 08:00", "Tue 10:00")
	moves("jobs/1", "the customer is late")
	s.hear(&jobv1.VehicleReceived{Job: "jobs/1"})
	wantWhen(t, s.booking("jobs/1"), "bays/one", "Mon 08:00", "Mon 10:00")
	moves("jobs/1", "the car of jobs/1 is here")
	s.hear(&jobv1.VehicleReceived{Job: "jobs/1"})
	s.hear(&jobv1.AppointmentChanged{Job: "jobs/9", Priority: 9, Reason: "of a job that is not confirmed"})
	if len(s.last) != 0 {
		t.Errorf("news without a difference brought about %v", s.last)
	}
	s.hear(&jobv1.AppointmentChanged{Job: "jobs/2", Priority: 9, WantedBy: stamp(monday.Add(2 * time.Hour)), Reason: "he drives on holiday"})
	wantWhen(t, s.booking("jobs/2"), "bays/one", "Mon 08:00", "Mon 10:00")
	wantWhen(t, s.booking("jobs/1"), "bays/one", "Mon 10:00", "Mon 12:00")
	moves("jobs/2", "he drives on holiday")
	moves("jobs/1", "he drives on holiday")
}
