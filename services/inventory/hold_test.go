package inventory

import (
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

const (
	stateHeld     = inventoryv1.HoldState_HOLD_STATE_HELD
	stateShort    = inventoryv1.HoldState_HOLD_STATE_SHORT
	stateSettled  = inventoryv1.HoldState_HOLD_STATE_SETTLED
	stateReleased = inventoryv1.HoldState_HOLD_STATE_RELEASED
	stateExpired  = inventoryv1.HoldState_HOLD_STATE_EXPIRED
)

func TestEverythingThere(t *testing.T) {
	s := newSite(t)
	s.list("SEAL", "BOLT")
	s.receive("SEAL", 1)
	s.receive("BOLT", 20)

	events := s.hears(confirmed(1, 0, line("a", "SEAL", 1), line("b", "BOLT", 8)))

	if got := kinds(events); !slices.Equal(got, []string{"PartsHeld"}) {
		t.Errorf("events are %v", got)
	}
	wantState(t, s, 1, stateHeld)
	if p := s.st.parts["BOLT"].shown(); p.GetOnHand() != 20 || p.GetHeld() != 8 || p.GetAvailable() != 12 {
		t.Errorf("the shelf shows %v", p)
	}
	if got, want := s.doc(1).GetExpiresAt().AsTime(), monday.Add(HoldLife); !got.Equal(want) {
		t.Errorf("it ends at %v, want %v", got, want)
	}
}

func TestWhatIsThereIsHeldWhileTheRestIsShort(t *testing.T) {
	s := newSite(t)
	s.list("SEAL", "BOLT")
	s.receive("BOLT", 5)

	events := s.hears(confirmed(1, 0, line("a", "SEAL", 1), line("b", "BOLT", 8)))

	if got := kinds(events); !slices.Equal(got, []string{"PartsShort"}) {
		t.Errorf("events are %v", got)
	}
	wantState(t, s, 1, stateShort)
	wantLine(t, s, 1, "a", lineShort, 0)
	wantLine(t, s, 1, "b", lineShort, 5)
	doc := s.doc(1)
	if doc.GetEtaOrdered() || !doc.GetEta().AsTime().Equal(monday.AddDate(0, 0, 5)) {
		t.Errorf("eta %v, ordered %v; want the lead time from now, not ordered", doc.GetEta().AsTime(), doc.GetEtaOrdered())
	}
	// Nobody who comes later gets past it.
	s.hears(confirmed(2, 0, line("a", "BOLT", 1)))
	wantLine(t, s, 2, "a", lineShort, 0)
}

func TestPlanWithoutPartsIsHeldAtOnce(t *testing.T) {
	s := newSite(t)
	if got := kinds(s.hears(confirmed(1, 0))); !slices.Equal(got, []string{"PartsHeld"}) {
		t.Errorf("events are %v", got)
	}
	wantState(t, s, 1, stateHeld)
	if _, pending := s.st.expiresOrArrives(); pending {
		t.Error("an empty hold waits to expire")
	}
}

func TestWaitingJobsAreServedByPriorityThenAge(t *testing.T) {
	s := newSite(t)
	s.list("SEAL")
	for job, priority := range []uint32{0, 0, 5, 0, 5} { // jobs/1 is the oldest
		s.hears(confirmed(job+1, priority, line("a", "SEAL", 2)))
		s.passes(time.Minute)
	}
	var order []string
	for range 5 {
		order = append(order, s.receive("SEAL", 2).GetJobsServed()...)
	}
	if want := []string{"jobs/3", "jobs/5", "jobs/1", "jobs/2", "jobs/4"}; !slices.Equal(order, want) {
		t.Errorf("served %v, want %v", order, want)
	}
}

func TestAlternativesAreHeldUntilTheDesignIsKnown(t *testing.T) {
	s := newSite(t)
	s.list("PUMP-E", "PUMP-M")
	s.receive("PUMP-E", 1)
	s.receive("PUMP-M", 1)
	s.hears(confirmed(1, 0,
		either(line("e", "PUMP-E", 1), "pump", "electric"),
		either(line("m", "PUMP-M", 1), "pump", "mechanical")))
	s.hears(confirmed(2, 0, line("m", "PUMP-M", 1)))
	wantState(t, s, 1, stateHeld)
	wantState(t, s, 2, stateShort)

	events := s.hears(&jobv1.DesignFound{Job: "jobs/1", Feature: "pump", Value: "electric"})

	// The other pump goes to who waits, in the same commit.
	if got := kinds(events); !slices.Equal(got, []string{"HoldNarrowed", "PartsHeld"}) {
		t.Errorf("events are %v", got)
	}
	wantLine(t, s, 1, "e", lineHeld, 1)
	wantLine(t, s, 1, "m", lineReleased, 0)
	wantState(t, s, 2, stateHeld)
	if again := s.hears(&jobv1.DesignFound{Job: "jobs/1", Feature: "pump", Value: "electric"}); len(again) != 0 {
		t.Errorf("the second time brought about %v", kinds(again))
	}
}

func TestRevisionsFollowWhatWasIssued(t *testing.T) {
	s := newSite(t)
	s.list("SEAL", "BOLT", "OIL", "HOSE")
	for _, n := range []string{"SEAL", "BOLT", "OIL", "HOSE"} {
		s.receive(n, 10)
	}
	s.hears(confirmed(1, 0, line("seal", "SEAL", 1), line("bolt", "BOLT", 4), line("oil", "OIL", 5)))
	must(s, issueParts, &inventoryv1.IssuePartsRequest{Job: "jobs/1", Lines: []string{"seal", "oil"}})

	// The seal falls away though it is at the car, bolts get fewer, oil more, a hose is new.
	s.hears(revised(1, 2, line("bolt", "BOLT", 2), line("oil", "OIL", 8), line("hose", "HOSE", 1)))

	wantLine(t, s, 1, "seal", lineIssued, 0)
	wantLine(t, s, 1, "bolt", lineHeld, 2)
	wantLine(t, s, 1, "oil", lineHeld, 3)
	wantLine(t, s, 1, "hose", lineHeld, 1)
	if got := s.st.parts["BOLT"].held; got != 2 {
		t.Errorf("%d bolts are held, want 2", got)
	}
	// An older plan that arrives late changes nothing.
	if events := s.hears(revised(1, 1)); len(events) != 0 {
		t.Errorf("a stale plan brought about %v", kinds(events))
	}
	// Less oil than is at the car: a plan takes nothing back.
	s.hears(revised(1, 3, line("oil", "OIL", 4)))
	wantLine(t, s, 1, "oil", lineIssued, 0)
	wantLine(t, s, 1, "bolt", lineReleased, 0)
	wantState(t, s, 1, stateSettled)
}

func TestRevisionKeepsWhatTheJobHas(t *testing.T) {
	s := newSite(t)
	s.list("SEAL")
	s.receive("SEAL", 2)
	s.hears(confirmed(1, 0, line("a", "SEAL", 2)))
	s.hears(confirmed(2, 9, line("a", "SEAL", 2)))

	// The line is renamed and smaller: the job keeps one, the urgent one gets the other.
	s.hears(revised(1, 2, line("b", "SEAL", 1)))

	wantLine(t, s, 1, "b", lineHeld, 1)
	wantLine(t, s, 2, "a", lineShort, 1)
}

func TestLineThatChangesItsPart(t *testing.T) {
	s := newSite(t)
	s.list("SEAL", "RING")
	s.receive("SEAL", 1)
	s.receive("RING", 1)
	s.hears(confirmed(1, 0, line("a", "SEAL", 1)))
	must(s, issueParts, &inventoryv1.IssuePartsRequest{Job: "jobs/1"})

	s.hears(revised(1, 2, line("a", "RING", 1)))

	wantLine(t, s, 1, "a", lineHeld, 1)
	wantLine(t, s, 1, "a.before-2", lineIssued, 0)
	must(s, returnParts, &inventoryv1.ReturnPartsRequest{Job: "jobs/1", Lines: []string{"a.before-2"}})
	if p := s.st.parts["SEAL"]; p.onHand != 1 || p.held != 0 {
		t.Errorf("%d seals on hand, %d held; want 1 and 0", p.onHand, p.held)
	}
}

func TestCancelledJobKeepsWhatIsToComeBack(t *testing.T) {
	s := newSite(t)
	s.list("SEAL", "BOLT")
	s.receive("SEAL", 1)
	s.receive("BOLT", 4)
	s.hears(confirmed(1, 0, line("seal", "SEAL", 1), line("bolt", "BOLT", 4)))
	s.hears(confirmed(2, 0, line("bolt", "BOLT", 4)))
	must(s, issueParts, &inventoryv1.IssuePartsRequest{Job: "jobs/1", Lines: []string{"seal"}})

	events := s.hears(&jobv1.JobCancelled{Job: "jobs/1", Reason: "customer"})

	if got := kinds(events); !slices.Equal(got, []string{"HoldReleased", "PartsHeld"}) {
		t.Errorf("events are %v", got)
	}
	wantState(t, s, 1, stateReleased)
	wantLine(t, s, 1, "seal", lineIssued, 0)
	wantLine(t, s, 1, "bolt", lineReleased, 0)
	wantState(t, s, 2, stateHeld)
	resp := must(s, returnParts, &inventoryv1.ReturnPartsRequest{Job: "jobs/1", Lines: []string{"seal"}})
	if resp.GetHold().GetState() != stateReleased || s.st.parts["SEAL"].onHand != 1 {
		t.Errorf("after the return: %v, %d on hand", resp.GetHold().GetState(), s.st.parts["SEAL"].onHand)
	}
	if events := s.hears(&jobv1.JobCancelled{Job: "jobs/7"}); len(events) != 0 {
		t.Errorf("an unknown job brought about %v", kinds(events))
	}
}

func TestCancelledWithALineHalfIssued(t *testing.T) {
	s := newSite(t)
	s.list("OIL")
	s.receive("OIL", 6)
	s.hears(confirmed(1, 0, line("oil", "OIL", 4)))
	must(s, issueParts, &inventoryv1.IssuePartsRequest{Job: "jobs/1"})
	s.hears(revised(1, 2, line("oil", "OIL", 6)))
	wantLine(t, s, 1, "oil", lineHeld, 2)

	s.hears(&jobv1.JobCancelled{Job: "jobs/1"})

	if l := s.lineOf(1, "oil"); l.GetState() != lineIssued || l.GetQuantity() != 4 || l.GetHeld() != 0 {
		t.Errorf("what is at the car: %v", l)
	}
}

func TestInvoiceSettles(t *testing.T) {
	s := newSite(t)
	s.list("SEAL")
	s.receive("SEAL", 3)
	s.hears(confirmed(1, 0, line("a", "SEAL", 1), line("b", "SEAL", 2)))
	must(s, issueParts, &inventoryv1.IssuePartsRequest{Job: "jobs/1", Lines: []string{"a"}})

	s.hears(&jobv1.InvoiceClosed{Job: "jobs/1"})

	wantState(t, s, 1, stateSettled)
	wantLine(t, s, 1, "b", lineReleased, 0)
	if p := s.st.parts["SEAL"]; p.held != 0 || p.onHand != 2 {
		t.Errorf("%d held, %d on hand; want 0 and 2", p.held, p.onHand)
	}
	if events := s.hears(&jobv1.InvoiceClosed{Job: "jobs/1"}); len(events) != 0 {
		t.Errorf("the second time brought about %v", kinds(events))
	}
}

func TestIssueRefusals(t *testing.T) {
	s := newSite(t)
	s.list("SEAL", "BOLT")
	s.receive("SEAL", 1)
	s.hears(confirmed(1, 0, line("seal", "SEAL", 1), line("bolt", "BOLT", 1)))
	issue := func(job string, lines ...string) error {
		_, err := do(s, issueParts, &inventoryv1.IssuePartsRequest{Job: job, Lines: lines})
		return err
	}

	wantReason(t, issue("jobs/2"), "HOLD_NOT_FOUND")
	wantReason(t, issue("jobs/1", "hose"), "LINE_NOT_FOUND")
	wantReason(t, issue("jobs/1", "seal", "seal"), "LINE_NAMED_TWICE")
	err := issue("jobs/1", "seal", "bolt")
	wantReason(t, err, "LINE_SHORT")
	if !strings.Contains(err.Error(), "nobody has ordered them") {
		t.Errorf("it does not say what to do: %v", err)
	}
	if got := s.st.parts["SEAL"].onHand; got != 1 {
		t.Errorf("a refused issue took a seal: %d on hand", got)
	}
	must(s, issueParts, &inventoryv1.IssuePartsRequest{Job: "jobs/1"})
	wantReason(t, issue("jobs/1", "seal"), "LINE_NOT_HELD")
	wantReason(t, issue("jobs/1"), "NOTHING_HELD")
}

func TestReturnServesWhoWaits(t *testing.T) {
	s := newSite(t)
	s.list("SEAL")
	s.receive("SEAL", 1)
	s.hears(confirmed(1, 0, line("a", "SEAL", 1)))
	s.hears(confirmed(2, 0, line("a", "SEAL", 1)))
	_, err := do(s, returnParts, &inventoryv1.ReturnPartsRequest{Job: "jobs/1", Lines: []string{"a"}})
	wantReason(t, err, "LINE_NOT_ISSUED")
	must(s, issueParts, &inventoryv1.IssuePartsRequest{Job: "jobs/1"})
	wantState(t, s, 1, stateSettled)

	must(s, returnParts, &inventoryv1.ReturnPartsRequest{Job: "jobs/1", Lines: []string{"a"}})

	wantLine(t, s, 1, "a", lineReturned, 0)
	wantState(t, s, 2, stateHeld)
	// The same plan again does not want back what was brought back.
	s.hears(revised(1, 2, line("a", "SEAL", 1)))
	wantLine(t, s, 1, "a", lineReturned, 0)
}

func TestReleaseByHand(t *testing.T) {
	s := newSite(t)
	s.list("SEAL")
	s.receive("SEAL", 1)
	s.hears(confirmed(1, 0, line("a", "SEAL", 1)))
	s.hears(confirmed(2, 0, line("a", "SEAL", 1)))
	must(s, releaseHold, &inventoryv1.ReleaseHoldRequest{Job: "jobs/1", Reason: "car not here"})
	wantState(t, s, 1, stateReleased)
	wantState(t, s, 2, stateHeld)
	_, err := do(s, releaseHold, &inventoryv1.ReleaseHoldRequest{Job: "jobs/1", Reason: "again"})
	wantReason(t, err, "NOTHING_HELD")

	// A new plan brings the job back, at the end of the queue.
	s.hears(confirmed(3, 0, line("a", "SEAL", 1)))
	s.passes(time.Minute)
	s.hears(revised(1, 2, line("a", "SEAL", 1)))
	if got := s.receive("SEAL", 1).GetJobsServed(); !slices.Equal(got, []string{"jobs/3"}) {
		t.Errorf("served %v, want jobs/3", got)
	}
}

func TestUnusedHoldsExpire(t *testing.T) {
	s := newSite(t)
	s.list("SEAL")
	s.receive("SEAL", 2)
	s.hears(confirmed(1, 0, line("a", "SEAL", 1)))
	s.hears(confirmed(2, 0, line("a", "SEAL", 1)))
	must(s, issueParts, &inventoryv1.IssuePartsRequest{Job: "jobs/2"})
	s.hears(confirmed(3, 0, line("a", "SEAL", 1)))

	s.passes(HoldLife)

	wantState(t, s, 1, stateExpired)
	wantState(t, s, 2, stateSettled) // issued: it does not expire
	wantState(t, s, 3, stateHeld)    // it waited, and got what came free

	// Nobody orders for jobs/4: it waits its lead time and a hold's life.
	s.hears(confirmed(4, 0, line("a", "SEAL", 1), line("b", "SEAL", 1)))
	s.passes(5*24*time.Hour + HoldLife)
	wantState(t, s, 4, stateExpired)
}

func TestExpiredHoldServesWhoWaits(t *testing.T) {
	s := newSite(t)
	s.list("SEAL")
	s.receive("SEAL", 1)
	s.hears(confirmed(1, 0, line("a", "SEAL", 1)))
	s.passes(time.Hour)
	s.hears(confirmed(2, 0, line("a", "SEAL", 1)))
	s.passes(HoldLife - time.Hour)
	wantState(t, s, 1, stateExpired)
	wantState(t, s, 2, stateHeld)
	// Its life begins now that it is complete.
	if got, want := s.doc(2).GetExpiresAt().AsTime(), s.now.Add(HoldLife); !got.Equal(want) {
		t.Errorf("it ends at %v, want %v", got, want)
	}
}

func TestRenewing(t *testing.T) {
	s := newSite(t)
	s.list("SEAL", "BOLT", "HOSE")
	for _, n := range []string{"SEAL", "BOLT", "HOSE"} {
		s.receive(n, 2)
	}
	renew := func(job int) error {
		_, err := do(s, renewHold, &inventoryv1.RenewHoldRequest{Job: jobName(job)})
		return err
	}
	wantReason(t, renew(1), "HOLD_NOT_FOUND")
	s.hears(confirmed(1, 0, line("hose", "HOSE", 1),
		either(line("seal", "SEAL", 2), "f", "x"), either(line("bolt", "BOLT", 2), "f", "y")))
	s.hears(&jobv1.DesignFound{Job: "jobs/1", Feature: "f", Value: "x"})

	// Alive: it ends later.
	s.passes(10 * 24 * time.Hour)
	check(t, renew(1))
	s.passes(10 * 24 * time.Hour)
	wantState(t, s, 1, stateHeld)
	s.passes(4 * 24 * time.Hour)
	wantState(t, s, 1, stateExpired)
	// Expired: what it lost is wanted again, behind who came meanwhile, but not
	// what the car does not need.
	s.hears(confirmed(2, 0, line("seal", "SEAL", 1)))
	check(t, renew(1))
	wantLine(t, s, 1, "seal", lineShort, 1)
	wantLine(t, s, 1, "hose", lineHeld, 1)
	wantLine(t, s, 1, "bolt", lineReleased, 0)

	// Given up and then cancelled: over for good.
	must(s, releaseHold, &inventoryv1.ReleaseHoldRequest{Job: "jobs/1", Reason: "wait"})
	s.hears(&jobv1.JobCancelled{Job: "jobs/1"})
	wantReason(t, renew(1), "JOB_OVER")
	s.hears(confirmed(3, 0))
	wantReason(t, renew(3), "NOTHING_TO_RENEW")
}

func TestManyExpireInSmallCommits(t *testing.T) {
	s := newSite(t)
	s.list("SEAL")
	s.receive("SEAL", 1000)
	const jobs = 3*holdsAtOnce + 1
	for job := 1; job <= jobs; job++ {
		s.hears(confirmed(job, 0, line("a", "SEAL", 1)))
	}
	s.passes(HoldLife + time.Minute)
	if p := s.st.parts["SEAL"]; p.held != 0 {
		t.Errorf("%d are still held", p.held)
	}
	wantState(t, s, jobs, stateExpired)
}

func TestBookingAndWorkKeepAHoldAlive(t *testing.T) {
	s := newSite(t)
	s.list("SEAL")
	s.receive("SEAL", 1)
	s.hears(confirmed(1, 0, line("a", "SEAL", 1)))
	start := monday.AddDate(0, 0, 30)
	booking := &schedulingv1.Booking{Job: "jobs/1", When: &commonv1.Interval{Start: timestamppb.New(start)}}

	s.hears(&schedulingv1.BookingMade{Booking: booking})
	s.passes(30 * 24 * time.Hour)
	wantState(t, s, 1, stateHeld)
	// Moved to an earlier day: what was promised stays.
	booking.When.Start = timestamppb.New(monday)
	if events := s.hears(&schedulingv1.BookingMoved{Booking: booking}); len(events) != 1 || kinds(events)[0] != "HoldBooked" {
		t.Errorf("an earlier booking brought about %v, want its turn alone", kinds(events))
	}
	s.passes(24 * time.Hour)
	s.hears(&jobv1.StepStarted{Job: "jobs/1", First: true})
	s.passes(HoldLife - time.Second)
	wantState(t, s, 1, stateHeld)
	s.passes(time.Second)
	wantState(t, s, 1, stateExpired)
	// A booking may be heard of before the plan.
	if events := s.hears(&schedulingv1.BookingMade{Booking: &schedulingv1.Booking{Job: "jobs/9", When: booking.GetWhen()}}); len(events) != 0 {
		t.Errorf("an unknown job's booking brought about %v", kinds(events))
	}
}

func TestSupersededPartIsServedByItsSuccessor(t *testing.T) {
	s := newSite(t)
	s.list("OLD", "NEW", "NEWEST")
	set := func(number, supersedes string) error {
		p := aPart(number)
		p.Supersedes = supersedes
		_, err := do(s, setPart, &inventoryv1.SetPartRequest{Part: p})
		return err
	}
	for _, err := range []error{set("NEW", "OLD"), set("NEWEST", "NEW")} {
		if err != nil {
			t.Fatal(err)
		}
	}
	wantReason(t, set("OLD", "NEWEST"), "SUPERSESSION_CIRCLE")
	wantReason(t, set("OLD", "OLD"), "SUPERSESSION_CIRCLE")
	s.list("OTHER")
	wantReason(t, set("OTHER", "OLD"), "PART_ALREADY_SUPERSEDED")

	s.receive("OLD", 1)
	s.receive("NEWEST", 5)
	s.hears(confirmed(1, 0, line("a", "OLD", 1)))
	s.hears(confirmed(2, 0, line("a", "OLD", 1)))

	if l := s.lineOf(1, "a"); l.GetPart() != "OLD" {
		t.Errorf("what is on the shelf is not used up: %v", l)
	}
	if l := s.lineOf(2, "a"); l.GetPart() != "NEWEST" || !strings.Contains(l.GetTitle(), "replaces OLD") || l.GetState() != lineHeld {
		t.Errorf("the successor does not serve: %v", l)
	}
	// A revision keeps the successor.
	s.receive("OLD", 3)
	s.hears(revised(2, 2, line("a", "OLD", 2)))
	if l := s.lineOf(2, "a"); l.GetPart() != "NEWEST" || l.GetHeld() != 2 {
		t.Errorf("the revision changed the part: %v", l)
	}
}

func TestImpossiblePlansAreErrors(t *testing.T) {
	for name, m := range map[string]proto.Message{
		"no plan":       &jobv1.DiagnosisConfirmed{Job: "jobs/1"},
		"no job":        &jobv1.DiagnosisConfirmed{Plan: &jobv1.Plan{}},
		"no job number": &jobv1.DiagnosisConfirmed{Job: "jobs/x", Plan: &jobv1.Plan{}},
		"nothing":       confirmed(1, 0, line("a", "SEAL", 0)),
		"negative":      confirmed(1, 0, line("a", "SEAL", -1)),
		"too much":      confirmed(1, 0, line("a", "SEAL", maxQuantity+1)),
		"line twice":    confirmed(1, 0, line("a", "SEAL", 1), line("a", "SEAL", 1)),
		"unnamed line":  confirmed(1, 0, line("", "SEAL", 1)),
		"no part":       confirmed(1, 0, line("a", "", 1)),
		"other unit":    confirmed(1, 0, &jobv1.PartWanted{Line: "a", Part: "SEAL", Quantity: 1, Unit: commonv1.Unit_UNIT_GRAM}),
	} {
		t.Run(name, func(t *testing.T) {
			s := newSite(t)
			s.list("SEAL")
			if events, err := react(s.st, sitelog.Foreign{Message: m}, s.input()); err == nil {
				t.Errorf("it brought about %v", kinds(events))
			}
		})
	}
}

func TestPlanWithAnUnlistedPart(t *testing.T) {
	s := newSite(t)
	events := s.hears(confirmed(1, 0, line("a", "GHOST", 2), line("b", "GHOST", 1)))
	if got := kinds(events); !slices.Equal(got, []string{"PartListed", "PartsShort"}) {
		t.Errorf("events are %v", got)
	}
	s.receive("GHOST", 3)
	wantState(t, s, 1, stateHeld)
}

func TestShelfRefusalsSayWhoHolds(t *testing.T) {
	s := newSite(t)
	s.list("SEAL")
	s.receive("SEAL", 5)
	s.hears(confirmed(4, 0, line("a", "SEAL", 3)))

	_, err := do(s, countShelf, &inventoryv1.CountShelfRequest{Part: "SEAL", Counted: 2})
	wantReason(t, err, "COUNT_BELOW_HELD")
	wantHolder(t, err, "holds/4")
	_, err = do(s, scrapPart, &inventoryv1.ScrapPartRequest{Part: "SEAL", Quantity: 3, Reason: "bent"})
	wantReason(t, err, "SCRAP_BELOW_HELD")
	wantHolder(t, err, "holds/4")

	must(s, scrapPart, &inventoryv1.ScrapPartRequest{Part: "SEAL", Quantity: 2, Reason: "bent"})
	if p := must(s, countShelf, &inventoryv1.CountShelfRequest{Part: "SEAL", Counted: 3}).GetPart(); p.GetOnHand() != 3 {
		t.Errorf("%d on hand, want 3", p.GetOnHand())
	}
	// A surplus goes to who waits.
	s.hears(confirmed(5, 0, line("a", "SEAL", 1)))
	must(s, countShelf, &inventoryv1.CountShelfRequest{Part: "SEAL", Counted: 4, Cause: mislaid, Reason: "behind the box"})
	wantState(t, s, 5, stateHeld)
}

func wantHolder(t *testing.T, err error, subject string) {
	t.Helper()
	e, is := err.(*fault.Error) //nolint:errorlint // it is returned bare
	if !is || len(e.Unmet) != 1 || e.Unmet[0].Subject != subject {
		t.Errorf("it does not name %s: %+v", subject, e)
	}
}

func TestShelfIsBounded(t *testing.T) {
	s := newSite(t)
	s.list("SEAL")
	for range MaxOnHand / maxQuantity {
		s.receive("SEAL", maxQuantity)
	}
	_, err := do(s, receiveGoods, &inventoryv1.ReceiveGoodsRequest{Lines: []*inventoryv1.ReceivedLine{{Part: "SEAL", Quantity: 1}}})
	wantReason(t, err, "SHELF_TOO_FULL")
}

// A rush job is served before those who waited longer, and what lies on the shelf for
// somebody stays his.
func TestAnUrgentJobIsServedFirst(t *testing.T) {
	s := newSite(t)
	s.list("SEAL")
	s.receive("SEAL", 1)
	for job := 1; job <= 3; job++ {
		s.hears(confirmed(job, 0, line("a", "SEAL", 1)))
	}
	s.orderSeals(1, monday.AddDate(0, 0, 2))
	if second, third := s.lineOf(2, "a").GetEta(), s.lineOf(3, "a").GetEta(); second == nil || third != nil {
		t.Fatalf("before, the ordered seal is promised to %v and %v", second, third)
	}
	s.hears(&jobv1.AppointmentChanged{Job: jobName(3), Priority: 5, Reason: "he drives on holiday"})
	if second, third := s.lineOf(2, "a").GetEta(), s.lineOf(3, "a").GetEta(); second != nil || third == nil {
		t.Errorf("after, the ordered seal is promised to %v and %v", second, third)
	}
	wantState(t, s, 1, stateHeld)
	s.receive("SEAL", 1)
	wantState(t, s, 3, stateHeld)
	wantState(t, s, 2, stateShort)
	if again := s.hears(&jobv1.AppointmentChanged{Job: jobName(3), Priority: 5, Reason: "again"}); len(again) != 0 {
		t.Errorf("what was known brought about %v", kinds(again))
	}
}
