package scheduling

import (
	"testing"
	"time"

	jobv1 "ramprow/proto/ramprow/job/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

// TestAPromiseKnowsWhoIsBefore: the first is promised for its end, the second for
// later than its end, because the first may keep it waiting.
func TestAPromiseKnowsWhoIsBefore(t *testing.T) {
	s := oneBay(t, 2, 2)
	first, second := s.booking("jobs/1"), s.booking("jobs/2")
	if !timeOf(first.GetPromised()).Equal(timeOf(first.GetWhen().GetEnd())) {
		t.Errorf("the first: %v", first)
	}
	late := timeOf(second.GetPromised()).Sub(timeOf(second.GetWhen().GetEnd()))
	if late <= 0 || late > time.Hour {
		t.Errorf("the second is promised %v after its end", late)
	}
}

// TestAPromiseIsCalledBackWithItsCause: jobs/1 is found to be much less certain, though
// four of five still take as long; jobs/2 stays where it is, and its promise goes.
func TestAPromiseIsCalledBackWithItsCause(t *testing.T) {
	s := oneBay(t)
	sure := plan(1, 4*time.Hour)
	sure.Effort.P50 = sure.GetEffort().GetP80()
	s.hear(confirmed("jobs/1", sure))
	s.hear(held("jobs/1", 1))
	s.book("jobs/2", 2*time.Hour)
	before := s.booking("jobs/2")
	unsure := plan(2, 4*time.Hour)
	unsure.Effort.P50 = spread(time.Hour).GetP80()
	s.hear(&jobv1.PlanRevised{Job: "jobs/1", Plan: unsure, Reason: "the bolt may shear"})
	s.hear(held("jobs/1", 2))
	after := s.booking("jobs/2")
	if !samePlace(before, after) {
		t.Fatalf("jobs/2 moved to %v", after)
	}
	var told *schedulingv1.PromiseChanged
	for _, m := range s.log {
		if c, ok := m.(*schedulingv1.PromiseChanged); ok && c.GetBooking().GetJob() == "jobs/2" {
			told = c
		}
	}
	moved := timeOf(after.GetPromised()).Sub(timeOf(before.GetPromised()))
	if told == nil || moved < promiseStep || told.GetReason() == "" || !timeOf(told.GetFrom()).Equal(timeOf(before.GetPromised())) {
		t.Errorf("promised %v later: %v", moved, told)
	}
	events := len(s.log)
	s.wait(30 * time.Minute) // 08:00 has passed and nobody began: everything moves, and says so
	if len(s.log) == events {
		t.Error("nothing was said of what is late")
	}
}

// TestPromisesAreQuiet: where nothing but time passes before the next start, no promise changes.
func TestPromisesAreQuiet(t *testing.T) {
	s := oneBay(t, 2, 2, 2)
	s.hear(began("jobs/1"))
	promises := []time.Time{timeOf(s.booking("jobs/2").GetPromised()), timeOf(s.booking("jobs/3").GetPromised())}
	s.wait(time.Hour)
	s.hear(done("jobs/1", time.Hour)) // as planned
	for i, job := range []string{"jobs/2", "jobs/3"} {
		if got := timeOf(s.booking(job).GetPromised()); !got.Equal(promises[i]) {
			t.Errorf("%s was promised for %v and now for %v", job, promises[i], got)
		}
	}
}
