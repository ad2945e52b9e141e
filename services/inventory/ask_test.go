package inventory

import (
	"fmt"
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/platform/fault"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

func wanted(part string, quantity int64) *inventoryv1.WantedPart {
	return &inventoryv1.WantedPart{Part: part, Quantity: quantity}
}

func asked(job int, lines ...*inventoryv1.WantedPart) *inventoryv1.HoldPartsRequest {
	return &inventoryv1.HoldPartsRequest{Job: jobName(job), Lines: lines}
}

func TestAllOrNothing(t *testing.T) {
	s := newSite(t)
	s.list("SEAL", "BOLT")
	s.receive("SEAL", 2)
	s.receive("BOLT", 4)
	s.orderSeals(5, monday.AddDate(0, 0, 3))
	_, err := do(s, holdParts, asked(1, wanted("BOLT", 4), wanted("SEAL", 3)))
	wantReason(t, err, "PARTS_SHORT")
	unmet := err.(*fault.Error).Unmet //nolint:errorlint // the decision's own refusal
	if len(unmet) != 1 || unmet[0].Subject != "parts/SEAL" || unmet[0].Description != "2 of SEAL are free and 3 are wanted; 5 come on 2031-03-06" {
		t.Errorf("unmet: %v", unmet)
	}
	if s.st.holds[jobName(1)] != nil || s.st.parts["BOLT"].held != 0 {
		t.Fatal("something is held all the same")
	}
	r := must(s, holdParts, asked(1, wanted("BOLT", 4), wanted("SEAL", 2)))
	wantState(t, s, 1, stateHeld)
	if len(r.GetParts()) != 2 || r.GetParts()[0].GetAvailable() != 0 || !s.lineOf(1, "extra-1").GetExtra() {
		t.Errorf("answered %v", r)
	}
	s.audit()
}

func TestPartialWaitsWithADate(t *testing.T) {
	s := newSite(t)
	s.list("SEAL")
	s.receive("SEAL", 2)
	s.orderSeals(5, monday.AddDate(0, 0, 3))
	req := asked(1, wanted("SEAL", 3))
	req.Partial = true
	must(s, holdParts, req)
	wantState(t, s, 1, stateShort)
	wantLine(t, s, 1, "extra-1", lineShort, 2)
	if eta := s.lineOf(1, "extra-1").GetEta().AsTime(); !eta.Equal(monday.AddDate(0, 0, 3)) {
		t.Errorf("expected on %v", eta)
	}
	must(s, receiveGoods, &inventoryv1.ReceiveGoodsRequest{Order: "orders/1", Lines: []*inventoryv1.ReceivedLine{{Part: "SEAL", Quantity: 5}}})
	wantState(t, s, 1, stateHeld)
	s.audit()
}

func TestAskedForStaysWhenThePlanChanges(t *testing.T) {
	s := newSite(t)
	s.list("SEAL", "BOLT")
	s.receive("SEAL", 5)
	s.receive("BOLT", 5)
	s.hears(confirmed(1, 2, line("plan", "SEAL", 1)))
	must(s, holdParts, asked(1, wanted("BOLT", 2), wanted("SEAL", 1)))
	must(s, issueParts, &inventoryv1.IssuePartsRequest{Job: jobName(1), Lines: []string{"extra-2"}})
	s.hears(revised(1, 2, line("other", "SEAL", 2)))
	wantLine(t, s, 1, "extra-1", lineHeld, 2)
	wantLine(t, s, 1, "extra-2", lineIssued, 0)
	wantLine(t, s, 1, "other", lineHeld, 2)
	if s.doc(1).GetPriority() != 2 {
		t.Errorf("the job's priority is lost: %v", s.doc(1))
	}
	s.audit()
	s.hears(&jobv1.JobCancelled{Job: jobName(1)})
	_, err := do(s, holdParts, asked(1, wanted("BOLT", 1)))
	wantReason(t, err, "JOB_OVER")
}

func TestAskedForEndsWhenTold(t *testing.T) {
	s := newSite(t)
	s.list("SEAL")
	s.receive("SEAL", 5)
	req := asked(1, wanted("SEAL", 5))
	req.ExpiresAt = timestamppb.New(monday.Add(time.Hour))
	must(s, holdParts, req)
	s.passes(59 * time.Minute)
	wantState(t, s, 1, stateHeld)
	s.passes(2 * time.Minute)
	wantState(t, s, 1, inventoryv1.HoldState_HOLD_STATE_EXPIRED)
	// It can be asked for again, and lasts as long as any other then.
	must(s, holdParts, asked(1, wanted("SEAL", 1)))
	wantLine(t, s, 1, "extra-2", lineHeld, 1)
	s.passes(HoldLife - time.Minute)
	wantState(t, s, 1, stateHeld)
	s.audit()
}

func TestWishesThatCannotBe(t *testing.T) {
	s := newSite(t)
	s.list("SEAL")
	s.receive("SEAL", 5)
	past := asked(1, wanted("SEAL", 1))
	past.ExpiresAt = timestamppb.New(monday)
	far := asked(1, wanted("SEAL", 1))
	far.ExpiresAt = timestamppb.New(monday.AddDate(2, 0, 0))
	var lines []*inventoryv1.WantedPart
	for range mostLines + 1 {
		lines = append(lines, wanted("SEAL", 1))
	}
	for reason, req := range map[string]*inventoryv1.HoldPartsRequest{
		"PART_NOT_FOUND": asked(1, wanted("GHOST", 1)),
		"WISH_INVALID":   asked(1, wanted("SEAL", 1), wanted("SEAL", 2)),
	} {
		_, err := do(s, holdParts, req)
		wantReason(t, err, reason)
	}
	for _, req := range []*inventoryv1.HoldPartsRequest{past, far, asked(1, lines...)} {
		_, err := do(s, holdParts, req)
		wantReason(t, err, "WISH_INVALID")
	}
	var planned []*jobv1.PartWanted
	for n := range mostLines {
		planned = append(planned, line(fmt.Sprintf("line-%d", n), "SEAL", 1))
	}
	s.hears(confirmed(2, 0, planned...))
	_, err := do(s, holdParts, asked(2, wanted("SEAL", 1)))
	wantReason(t, err, "HOLD_TOO_LONG")
}
