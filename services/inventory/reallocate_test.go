package inventory

import (
	"slices"
	"testing"
	"time"

	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
)

func shifted(part string, from, to int, quantity int64) *inventoryv1.ReallocatePartsRequest {
	return &inventoryv1.ReallocatePartsRequest{Part: part, FromJob: jobName(from), ToJob: jobName(to), Quantity: quantity}
}

func TestReallocationShowsWhatItMeans(t *testing.T) {
	s := newSite(t)
	s.list("SEAL")
	s.receive("SEAL", 3)
	s.hears(confirmed(1, 0, line("a", "SEAL", 3)))
	s.hears(confirmed(2, 0, line("a", "SEAL", 2)))
	s.hears(&schedulingv1.BookingMade{Booking: bookedAt(1, "bays/1", monday.Add(6*time.Hour))})
	req := shifted("SEAL", 1, 2, 0)
	req.DryRun = true
	tried := must(s, reallocateParts, req)
	want := []string{
		"jobs/1 waits until 2031-03-08 if what it lacks is ordered now, and loses its turn on 2031-03-03: it moves by 5 days or more",
		"jobs/2 has all its parts",
	}
	if !slices.Equal(tried.GetConsequences(), want) {
		t.Errorf("told %q", tried.GetConsequences())
	}
	wantState(t, s, 1, stateHeld) // a dry run changes nothing
	wantState(t, s, 2, stateShort)
	must(s, reallocateParts, shifted("SEAL", 1, 2, 0))
	wantLine(t, s, 1, "a", lineShort, 1)
	wantLine(t, s, 2, "a", lineHeld, 2)
	s.audit()
	s.orderSeals(9, monday.AddDate(0, 0, 2))
	back := must(s, reallocateParts, shifted("SEAL", 2, 1, 1))
	want = []string{
		"jobs/2 had all its parts and waits until 2031-03-05",
		"jobs/1 waits until 2031-03-05, and loses its turn on 2031-03-03: it moves by 2 days or more",
	}
	if !slices.Equal(back.GetConsequences(), want) {
		t.Errorf("told %q", back.GetConsequences())
	}
	wantLine(t, s, 1, "a", lineShort, 2)
	wantLine(t, s, 2, "a", lineShort, 1)
	s.audit()
}

func TestWhatCannotBeReallocated(t *testing.T) {
	s := newSite(t)
	s.list("SEAL", "BOLT")
	s.receive("SEAL", 3)
	s.hears(confirmed(1, 0, line("a", "SEAL", 3)))
	s.hears(confirmed(2, 0, line("a", "SEAL", 2)))
	for _, tt := range []struct {
		req    *inventoryv1.ReallocatePartsRequest
		reason string
	}{
		{shifted("GHOST", 1, 2, 1), "PART_NOT_FOUND"},
		{shifted("SEAL", 1, 9, 1), "HOLD_NOT_FOUND"},
		{shifted("SEAL", 9, 2, 1), "HOLD_NOT_FOUND"},
		{shifted("SEAL", 1, 1, 1), "SAME_JOB"},
		{shifted("SEAL", 1, 2, 3), "NOT_TO_BE_MOVED"}, // it waits for two
		{shifted("SEAL", 2, 1, 1), "NOT_TO_BE_MOVED"}, // it has none
		{shifted("BOLT", 1, 2, 0), "NOT_TO_BE_MOVED"}, // neither has to do with it
	} {
		_, err := do(s, reallocateParts, tt.req)
		wantReason(t, err, tt.reason)
	}
}
