package scheduling

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"ramprow/internal/engine/planner"
	jobv1 "ramprow/proto/ramprow/job/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// worked lets jobs of two hours be booked, begun and finished one after another, each
// for so much longer than planned.
func worked(t *testing.T, s *shop, jobs int, longer time.Duration) {
	t.Helper()
	for range jobs {
		job := fmt.Sprintf("jobs/%d", 100+len(s.log))
		s.book(job, 2*time.Hour)
		s.now = timeOf(s.booking(job).GetWhen().GetStart())
		s.hear(began(job))
		s.wait(2*time.Hour + longer)
		s.hear(&jobv1.WorkFinished{Job: job})
	}
}

// TestAPromiseLearnsFromTheRecord: ten cars took half an hour longer than foreseen, so the
// eleventh is promised half an hour after what is foreseen, and says why.
func TestAPromiseLearnsFromTheRecord(t *testing.T) {
	s := oneBay(t)
	worked(t, s, planner.FewestRemembered-1, 30*time.Minute)
	if m := s.st.margin(false, s.now); m.Of != 0 {
		t.Errorf("learned %+v from too few", m)
	}
	worked(t, s, 1, 30*time.Minute)
	s.book("jobs/50", 2*time.Hour)
	b := s.booking("jobs/50")
	hours := s.st.hours(monday, monday.AddDate(0, 1, 0))
	if got := hours.Between(timeOf(b.GetForeseen()), timeOf(b.GetPromised())); got != 30*time.Minute {
		t.Errorf("promised %v of opening hours after what is foreseen: %v", got, b)
	}
	want := "four of five of the last 10 jobs were done no more than 30 min of opening hours later than foreseen"
	if !strings.Contains(b.GetPromiseReason(), want) {
		t.Errorf("it is later because %q", b.GetPromiseReason())
	}
	// What was added is there to be used up: when it begins half an hour late, the promise stays.
	said := b.GetPromised()
	s.now = timeOf(b.GetWhen().GetStart())
	s.wait(startGrace)
	if moved := s.booking("jobs/50"); samePlace(b, moved) || !timeOf(moved.GetPromised()).Equal(timeOf(said)) {
		t.Errorf("begun late it is promised for %v instead of %v", timeOf(moved.GetPromised()), timeOf(said))
	}
	got, err := s.st.earliestPromise(&schedulingv1.GetEarliestPromiseRequest{P50: spread(time.Hour).GetP80(), P80: spread(time.Hour).GetP80()}, s.now)
	if err != nil || !strings.Contains(got.GetPromiseReason(), want) {
		t.Errorf("asked for a promise: %v, %v", got, err)
	}
}

// TestTheRecordIsBoundedAndKept: the newest are kept, in snapshots too, and tell how many
// promises held.
func TestTheRecordIsBoundedAndKept(t *testing.T) {
	var l learned
	for i := range planner.Remembered + 20 {
		late := time.Duration(i) * time.Minute
		l = l.finished(&schedulingv1.BookingFinished{
			Booking: &schedulingv1.Booking{FinishedAt: stamp(monday.Add(late)), FirstPromised: stamp(monday.Add(time.Hour)), Foreseen: stamp(monday)},
			Late:    spread(late).GetP80(),
		})
	}
	if n := len(l.Booked); n != planner.Remembered || l.Booked[n-1].Late != 119*time.Minute || len(l.Begun) != 0 {
		t.Fatalf("%d are remembered, the last %v", n, l.Booked[n-1])
	}
	st := newState("north")
	st.learned = l
	data, err := snapshot(st)()
	if err != nil {
		t.Fatal(err)
	}
	back, err := restore("north", data)
	if err != nil {
		t.Fatal(err)
	}
	got := back.learnedOf(false, monday.AddDate(0, 0, 1))
	if got.GetFinished() != 100 || got.GetKept() != 41 || got.GetPromises() != 100 { // 20 to 60 minutes were in time
		t.Errorf("after a snapshot: %v", got)
	}
	if got.GetMargin().AsDuration() != 100*time.Minute { // rank 81 of 20 to 119
		t.Errorf("the margin is %v", got.GetMargin().AsDuration())
	}
}

// TestSlowJobsAreNotMissing: what is open past its foreseen time counts as late already,
// and what was done before its time has come does not count yet.
func TestSlowJobsAreNotMissing(t *testing.T) {
	s := oneBay(t)
	worked(t, s, planner.FewestRemembered, 0)
	s.wait(24 * time.Hour)
	before := s.st.turned(false, s.now)
	s.book("jobs/50", 2*time.Hour)
	s.wait(48 * time.Hour)
	after := s.st.turned(false, s.now)
	if len(after) != len(before)+1 || !after[len(after)-1].Open {
		t.Errorf("before %v, after %v", before, after)
	}
	s.st.learned.Booked[0].Foreseen = s.now.Add(time.Hour)
	if early := s.st.turned(false, s.now); len(early) != len(after)-1 {
		t.Errorf("what has not come counts: %v", early)
	}
}

// TestJudgePlan: two jobs in one bay, of which the second waits for the first.
func TestJudgePlan(t *testing.T) {
	s := oneBay(t, 2, 2)
	got, err := s.st.judge(s.now)
	if err != nil {
		t.Fatal(err)
	}
	if len(got.GetBookings()) != 2 || got.GetBookings()[0].GetJob() != "jobs/1" || got.GetBookings()[0].LearnedPercent != nil {
		t.Fatalf("judged %v", got)
	}
	for _, b := range got.GetBookings() {
		if b.GetHeldPercent() < 80 || b.GetHeldPercent() > 82 {
			t.Errorf("%s is promised for four of five runs and holds in %.1f %%", b.GetJob(), b.GetHeldPercent())
		}
	}
	if got.GetAllHeldPercent() >= 80 || got.GetBroken() < 0.3 || got.GetBookings()[0].GetBreaks() < got.GetBookings()[1].GetBreaks() {
		t.Errorf("both hold in %.1f %%, %.2f fail: %v", got.GetAllHeldPercent(), got.GetBroken(), got.GetBookings())
	}
	worked(t, s, planner.FewestRemembered, 0)
	if got, err = s.st.judge(s.now); err != nil || got.GetLearned().GetPromises() == 0 || got.GetBookings()[0].LearnedPercent == nil {
		t.Errorf("with a record: %v, %v", got, err)
	}
}
