package inventory

import (
	"slices"
	"strings"
	"testing"

	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// atTheCar gives a job one pump, of which the old unit bears a deposit of 40.00.
func atTheCar(t *testing.T) *site {
	t.Helper()
	s := newSite(t)
	pump := aPart("PUMP")
	pump.Deposit = euros(4_000)
	pump.Cost = euros(12_000)
	must(s, setPart, &inventoryv1.SetPartRequest{Part: pump})
	s.list("SEAL")
	s.receive("PUMP", 3)
	s.receive("SEAL", 4)
	s.hears(confirmed(1, 0, line("pump", "PUMP", 1), line("seals", "SEAL", 4)))
	must(s, issueParts, &inventoryv1.IssuePartsRequest{Job: jobName(1)})
	return s
}

func (s *site) theReturn(n uint64) *inventoryv1.Return {
	s.t.Helper()
	r := s.all.returns[returnName(n)]
	if r == nil {
		s.t.Fatalf("there is no %s", returnName(n))
	}
	return r
}

func (s *site) fails(line string, quantity int64, without bool) (*inventoryv1.ReportFailedPartResponse, error) {
	s.t.Helper()
	return do(s, reportFailedPart, &inventoryv1.ReportFailedPartRequest{
		Job: jobName(1), Line: line, Quantity: quantity, Reason: "leaks at the flange", WithoutAnother: without,
	})
}

func (s *site) ends(n uint64, outcome inventoryv1.ReturnState, credited *commonv1.Money, reason string) (*inventoryv1.CloseReturnResponse, error) {
	s.t.Helper()
	return do(s, closeReturn, &inventoryv1.CloseReturnRequest{Return: returnName(n), Outcome: outcome, Credited: credited, Reason: reason})
}

// A failed new part is neither on the shelf nor at the car; its job gets another
// one, and owes one old unit still, not two.
func TestAFailedPartIsReplacedAndClaimed(t *testing.T) {
	s := atTheCar(t)
	wantState(t, s, 1, inventoryv1.HoldState_HOLD_STATE_SETTLED)
	r, err := s.fails("pump", 1, false)
	check(t, err)
	wantState(t, s, 1, stateHeld) // the invoice waits for the line
	wantLine(t, s, 1, "pump", lineHeld, 1)
	if back := r.GetReturn(); back.GetState() != returnSetApart || back.GetExpected().GetMinorUnits() != 12_000 || back.GetSupplier() != "northgate" {
		t.Errorf("the claim is %v", back)
	}
	if on := s.st.parts["PUMP"].onHand; on != 2 {
		t.Errorf("%d pumps are on hand, and the failed one is none of them", on)
	}
	must(s, issueParts, &inventoryv1.IssuePartsRequest{Job: jobName(1)})
	if l := s.lineOf(1, "pump"); l.GetState() != lineIssued || l.GetOldUnits() != 1 || out(l) != 1 {
		t.Errorf("the line is %v", l)
	}
	must(s, sendReturns, &inventoryv1.SendReturnsRequest{Returns: []string{returnName(2)}, Reference: "claim 88"})
	if _, err := s.ends(2, returnCredited, euros(12_000), ""); err != nil {
		t.Errorf("credited as expected, and refused: %v", err)
	}
	s.audit()
}

func TestAFailedPartOfANeedlessKindSettlesItsLine(t *testing.T) {
	s := atTheCar(t)
	_, err := s.fails("seals", 5, true)
	wantReason(t, err, "FAILED_TOO_MANY")
	_, err = s.fails("seals", 3, true)
	check(t, err)
	if l := s.lineOf(1, "seals"); l.GetQuantity() != 1 || l.GetState() != lineIssued {
		t.Errorf("three of four failed, and the line is %v", l)
	}
	_, err = s.fails("seals", 1, true)
	check(t, err)
	wantLine(t, s, 1, "seals", lineReturned, 0)
	wantState(t, s, 1, inventoryv1.HoldState_HOLD_STATE_SETTLED)
	_, err = s.fails("seals", 1, true)
	wantReason(t, err, "LINE_NOT_ISSUED")
	s.audit()
}

// After the invoice the claim is kept all the same; another part is for another job.
func TestAPartThatFailsAfterTheInvoice(t *testing.T) {
	s := atTheCar(t)
	s.hears(&jobv1.InvoiceClosed{Job: jobName(1)})
	s.passes(10 * oneDay) // the hold has left the working state
	_, err := s.fails("pump", 1, false)
	wantReason(t, err, "JOB_OVER")
	r, err := s.fails("pump", 1, true)
	check(t, err)
	if r.GetReturn().GetJob() != jobName(1) || r.GetReturn().GetKind() != failedPart {
		t.Errorf("the claim is %v", r.GetReturn())
	}
	s.audit()
}

func TestAnOldUnitIsOwedReceivedSentAndCredited(t *testing.T) {
	s := atTheCar(t)
	owed := s.theReturn(1)
	if owed.GetKind() != oldUnit || owed.GetState() != returnExpected || owed.GetExpected().GetMinorUnits() != 4_000 || owed.GetJob() != jobName(1) {
		t.Fatalf("owed is %v", owed)
	}
	_, err := do(s, sendReturns, &inventoryv1.SendReturnsRequest{Returns: []string{returnName(1)}})
	wantReason(t, err, "RETURN_STATE") // it is at the car
	_, err = s.ends(1, returnCredited, euros(4_000), "")
	wantReason(t, err, "OUTCOME_INVALID")
	must(s, receiveOldUnit, &inventoryv1.ReceiveOldUnitRequest{Return: returnName(1), Condition: "whole, shaft turns"})
	if on := s.st.parts["PUMP"].onHand; on != 2 {
		t.Errorf("%d are on hand: an old unit is no pump", on)
	}
	_, err = s.ends(1, returnKept, nil, "")
	wantReason(t, err, "OUTCOME_INVALID")
	must(s, sendReturns, &inventoryv1.SendReturnsRequest{Returns: []string{returnName(1)}})
	_, err = s.ends(1, returnCredited, euros(3_500), "")
	wantReason(t, err, "OUTCOME_INVALID") // less than expected, and nobody says why
	if _, err = s.ends(1, returnCredited, euros(3_500), "housing cracked"); err != nil {
		t.Error(err)
	}
	_, err = s.ends(1, returnLost, nil, "again")
	wantReason(t, err, "RETURN_STATE")
	s.audit()
}

func TestAnUnusedPartOwesNoOldUnit(t *testing.T) {
	s := atTheCar(t)
	must(s, returnParts, &inventoryv1.ReturnPartsRequest{Job: jobName(1), Lines: []string{"pump"}})
	if r := s.theReturn(1); r.GetState() != returnVoid || s.lineOf(1, "pump").GetOldUnits() != 0 {
		t.Errorf("the new pump is back, and owed is %v", r)
	}
	s.audit()
}

func TestTwoLinesOfOnePartOweEachItsOwn(t *testing.T) {
	s := atTheCar(t)
	s.hears(confirmed(2, 0, line("left", "PUMP", 1), line("right", "PUMP", 1)))
	must(s, issueParts, &inventoryv1.IssuePartsRequest{Job: jobName(2)})
	must(s, returnParts, &inventoryv1.ReturnPartsRequest{Job: jobName(2), Lines: []string{"right", "left"}})
	for _, n := range []uint64{2, 3} {
		if r := s.theReturn(n); r.GetState() != returnVoid {
			t.Errorf("both pumps are back, and owed is %v", r)
		}
	}
	s.audit()
}

// Of four, two come: what is divided sums to what it was.
func TestSomeOfTheOldUnitsCome(t *testing.T) {
	s := atTheCar(t)
	s.receive("PUMP", 4)
	s.hears(confirmed(2, 0, line("pumps", "PUMP", 3)))
	must(s, issueParts, &inventoryv1.IssuePartsRequest{Job: jobName(2)})
	must(s, receiveOldUnit, &inventoryv1.ReceiveOldUnitRequest{Return: returnName(2), Quantity: 2, Condition: "whole"})
	rest, came := s.theReturn(2), s.theReturn(3)
	if rest.GetQuantity() != 1 || rest.GetState() != returnExpected || rest.GetExpected().GetMinorUnits() != 4_000 ||
		came.GetQuantity() != 2 || came.GetState() != returnSetApart || came.GetExpected().GetMinorUnits() != 8_000 || came.GetDividedFrom() != returnName(2) {
		t.Errorf("came %v, and owed is %v", came, rest)
	}
	if _, err := s.ends(2, returnLost, nil, "the customer keeps it"); err != nil {
		t.Error(err)
	}
	s.audit()
}

func TestWhatComesWrongOrDamagedGoesBack(t *testing.T) {
	s := newSite(t)
	s.list("SEAL", "BOLT")
	order := s.orderSeals(10, monday.AddDate(0, 0, 1))
	r := must(s, receiveGoods, &inventoryv1.ReceiveGoodsRequest{Order: order, Note: "wet box", Lines: []*inventoryv1.ReceivedLine{
		{Part: "SEAL", Quantity: 13, Damaged: 2, SendBack: 3}, {Part: "BOLT", Quantity: 5, SendBack: 5},
	}})
	var told []string
	for _, back := range r.GetReturns() {
		told = append(told, strings.Join([]string{back.GetPart(), back.GetKind().String(), back.GetOrder(), back.GetReason()}, " "))
	}
	if want := []string{
		"SEAL RETURN_KIND_DAMAGED orders/1 came damaged: wet box",
		"SEAL RETURN_KIND_WRONG orders/1 was not ordered: wet box",
		"BOLT RETURN_KIND_WRONG orders/1 was not ordered: wet box",
	}; !slices.Equal(told, want) {
		t.Errorf("set apart: %q", told)
	}
	if seal, bolt := s.st.parts["SEAL"], s.st.parts["BOLT"]; seal.onHand != 8 || seal.onOrder != 0 || bolt.onHand != 0 {
		t.Errorf("%d seals are on hand, %d on order, and %d bolts", seal.onHand, seal.onOrder, bolt.onHand)
	}
	must(s, sendReturns, &inventoryv1.SendReturnsRequest{Returns: []string{returnName(1), returnName(2)}})
	// The damaged ones are replaced, and who waits gets them.
	s.hears(confirmed(1, 0, line("seals", "SEAL", 10)))
	wantState(t, s, 1, stateShort)
	if r, err := s.ends(1, returnReplaced, nil, ""); err != nil || r.GetPart().GetOnHand() != 10 {
		t.Errorf("replaced: %v, %v", r, err)
	}
	wantState(t, s, 1, stateHeld)
	if _, err := s.ends(3, returnKept, nil, ""); err != nil || s.st.parts["BOLT"].onHand != 5 {
		t.Errorf("kept after all: %v, %d on hand", err, s.st.parts["BOLT"].onHand)
	}
	s.audit()
	why, err := s.st.explain("SEAL")
	check(t, err)
	if want := "not on hand: 3 wrong, with the supplier since 2031-03-03 (returns/2) of orders/1: was not ordered: wet box"; !slices.Contains(why.GetWhy(), want) {
		t.Errorf("why is %q", why.GetWhy())
	}
}

func TestWhatIsSetApartIsNotOnHand(t *testing.T) {
	s := newSite(t)
	s.list("SEAL")
	s.receive("SEAL", 5)
	s.hears(confirmed(1, 0, line("seal", "SEAL", 3)))
	apart := func(quantity int64, order string) error {
		_, err := do(s, setApart, &inventoryv1.SetApartRequest{Part: "SEAL", Quantity: quantity, Kind: failedPart, Reason: "cracked", Order: order})
		return err
	}
	wantReason(t, apart(3, ""), "SET_APART_BELOW_HELD")
	wantReason(t, apart(1, "orders/7"), "ORDER_NOT_FOUND")
	check(t, apart(2, ""))
	if m := s.st.movements[s.st.moved]; s.st.parts["SEAL"].onHand != 3 || m.GetKind() != inventoryv1.MovementKind_MOVEMENT_KIND_SENT_BACK || m.GetReference() != returnName(1) {
		t.Errorf("%d on hand by %v", s.st.parts["SEAL"].onHand, m)
	}
	if open := s.st.morning(s.now, s.now.Add(oneDay)).GetReturns(); len(open) != 1 {
		t.Errorf("the morning tells of %v", open)
	}
	s.audit()
}

func TestReturnsThatCannotBe(t *testing.T) {
	s := atTheCar(t)
	orphan := aPart("ORPHAN")
	orphan.Supplier = ""
	must(s, setPart, &inventoryv1.SetPartRequest{Part: orphan})
	other := aPart("OTHER")
	other.Supplier = "southgate"
	must(s, setPart, &inventoryv1.SetPartRequest{Part: other})
	for _, number := range []string{"ORPHAN", "OTHER", "SEAL"} { // returns/2, 3 and 4
		s.receive(number, 2)
		must(s, setApart, &inventoryv1.SetApartRequest{Part: number, Quantity: 2, Kind: wrongPart, Reason: "not ours"})
	}
	send := func(numbers ...uint64) error {
		req := &inventoryv1.SendReturnsRequest{}
		for _, n := range numbers {
			req.Returns = append(req.Returns, returnName(n))
		}
		_, err := do(s, sendReturns, req)
		return err
	}
	wantReason(t, send(2), "SUPPLIER_UNKNOWN")
	wantReason(t, send(4, 3), "SUPPLIERS_DIFFER")
	wantReason(t, send(4, 4), "RETURN_NAMED_TWICE")
	wantReason(t, send(9), "RETURN_NOT_FOUND")
	_, err := s.ends(3, returnRefused, nil, "")
	wantReason(t, err, "OUTCOME_INVALID")
	_, err = s.ends(3, returnCredited, nil, "")
	wantReason(t, err, "OUTCOME_INVALID")
	_, err = s.ends(3, returnReplaced, euros(5), "")
	wantReason(t, err, "OUTCOME_INVALID")
	_, err = s.ends(3, returnCredited, &commonv1.Money{MinorUnits: 500, CurrencyCode: "USD"}, "")
	wantReason(t, err, "OUTCOME_INVALID")
	_, err = do(s, closeReturn, &inventoryv1.CloseReturnRequest{Return: returnName(3), Quantity: 3, Outcome: returnLost, Reason: "gone"})
	wantReason(t, err, "RETURN_TOO_MANY")
	_, err = do(s, receiveGoods, &inventoryv1.ReceiveGoodsRequest{Lines: []*inventoryv1.ReceivedLine{{Part: "SEAL", Quantity: 3, Damaged: 2, SendBack: 2}}})
	wantReason(t, err, "RECEIPT_INVALID")
	// Once the supplier is known, it goes.
	orphan.Supplier = "westgate"
	must(s, setPart, &inventoryv1.SetPartRequest{Part: orphan})
	check(t, send(2))
	if r := s.theReturn(2); r.GetSupplier() != "westgate" {
		t.Errorf("sent to %q", r.GetSupplier())
	}
}

// What has ended leaves the working state, and is found again.
func TestReturnsThatEndedLeave(t *testing.T) {
	s := atTheCar(t)
	_, err := s.ends(1, returnLost, nil, "the customer keeps it")
	check(t, err)
	s.passes(10 * oneDay)
	if s.st.returns[returnName(1)] != nil {
		t.Fatal("it is there still")
	}
	_, err = s.ends(1, returnLost, nil, "again")
	wantReason(t, err, "RETURN_STATE")
}
