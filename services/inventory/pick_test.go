package inventory

import (
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

// kit is a shelf of three parts in three bins, and a job that wants of all.
func kit(t *testing.T) *site {
	t.Helper()
	s := newSite(t)
	for number, bin := range map[string]string{"SEAL": "B-10", "BOLT": "B-2", "OIL": "A-1"} {
		p := aPart(number)
		p.Bin = bin
		if number == "OIL" {
			p.Unit = commonv1.Unit_UNIT_MILLILITRE
		}
		if number == "SEAL" {
			p.Barcode = "4006381333931"
		}
		must(s, setPart, &inventoryv1.SetPartRequest{Part: p})
	}
	s.receive("SEAL", 3)
	s.receive("BOLT", 10)
	s.receive("OIL", 5000)
	oil := line("oil", "OIL", 4500)
	oil.Unit = commonv1.Unit_UNIT_MILLILITRE
	s.hears(confirmed(1, 0, line("seal", "SEAL", 1), line("bolts", "BOLT", 2), oil))
	return s
}

func (s *site) scan(job int, code string, quantity int64) (*inventoryv1.PickPartResponse, error) {
	s.t.Helper()
	return do(s, pickPart, &inventoryv1.PickPartRequest{Job: jobName(job), Code: code, Quantity: quantity})
}

func (s *site) scans(job int, codes ...string) {
	s.t.Helper()
	for _, code := range codes {
		if _, err := s.scan(job, code, 0); err != nil {
			s.t.Fatalf("scan %s: %v", code, err)
		}
	}
}

func TestAKitIsPickedByBins(t *testing.T) {
	s := kit(t)
	var walked []string
	for {
		next := pickOf(s.doc(1)).GetNext()
		if next == nil {
			break
		}
		walked = append(walked, next.GetPart())
		code := next.GetPart()
		if code == "SEAL" {
			code = "]E04006381333931" // as a reader gives an EAN-13
		}
		s.scans(1, code)
		s.audit()
	}
	if want := []string{"OIL", "BOLT", "BOLT", "SEAL"}; !slices.Equal(walked, want) {
		t.Errorf("walked %v, want %v", walked, want)
	}
	if on := s.st.parts["SEAL"]; on.onHand != 3 || on.picked != 1 {
		t.Errorf("picking took something off the book: %d on hand, %d picked", on.onHand, on.picked)
	}
	must(s, finishPick, &inventoryv1.FinishPickRequest{Job: jobName(1)})
	wantState(t, s, 1, inventoryv1.HoldState_HOLD_STATE_SETTLED)
	if on := s.st.parts["OIL"]; on.onHand != 500 || on.picked != 0 {
		t.Errorf("%d on hand and %d picked after it was handed over", on.onHand, on.picked)
	}
	s.audit()
	_, err := s.scan(1, "BOLT", 0)
	wantReason(t, err, "NOTHING_TO_PICK")
}

func TestAWrongScanIsRefusedWithWhatWasExpected(t *testing.T) {
	s := kit(t)
	s.list("PLUG")
	s.scans(1, "SEAL")
	for name, row := range map[string]struct {
		code     string
		quantity int64
		reason   string
		told     string
	}{
		"another part":       {"PLUG", 0, "PICK_WRONG_PART", "expected is OIL (Part OIL) from bin A-1"},
		"one more":           {"SEAL", 0, "PICK_ENOUGH", "all its 1 of SEAL"},
		"more than wanted":   {"BOLT", 3, "PICK_TOO_MANY", "wants 2 more"},
		"nobody's code":      {"4006381333948", 0, "CODE_UNKNOWN", "no part carries the code"},
		"a digit read wrong": {"]E04006381333932", 0, "CODE_INVALID", ""},
		"what nothing reads": {"\x00", 0, "CODE_UNKNOWN", ""},
	} {
		_, err := s.scan(1, row.code, row.quantity)
		wantReason(t, err, row.reason)
		if err == nil || !strings.Contains(err.Error(), row.told) {
			t.Errorf("%s: told %v, want %q", name, err, row.told)
		}
	}
	_, err := s.scan(9, "SEAL", 0)
	wantReason(t, err, "HOLD_NOT_FOUND")
	_, err = do(s, finishPick, &inventoryv1.FinishPickRequest{Job: jobName(1)})
	wantReason(t, err, "PICK_INCOMPLETE")
}

func TestAKitIsStagedAndHandedOverLater(t *testing.T) {
	s := kit(t)
	s.scans(1, "SEAL", "OIL", "BOLT")
	_, err := do(s, finishPick, &inventoryv1.FinishPickRequest{Job: jobName(1), StageAt: "trolley 2"})
	wantReason(t, err, "PICK_INCOMPLETE")
	s.scans(1, "BOLT")
	must(s, finishPick, &inventoryv1.FinishPickRequest{Job: jobName(1), StageAt: "trolley 2"})
	if got := pickOf(s.doc(1)); got.GetStagedAt() != "trolley 2" || got.GetNext() != nil {
		t.Errorf("the kit is %v", got)
	}
	must(s, issueParts, &inventoryv1.IssuePartsRequest{Job: jobName(1)})
	if at := s.doc(1).GetStagedAt(); at != "" {
		t.Errorf("it was handed over and waits at %s", at)
	}
	s.audit()
}

func TestAPartOfAKitIsHandedOver(t *testing.T) {
	s := kit(t)
	s.scans(1, "BOLT")
	must(s, finishPick, &inventoryv1.FinishPickRequest{Job: jobName(1), Partial: true})
	if l := s.lineOf(1, "bolts"); l.GetIssued() != 1 || l.GetHeld() != 1 || l.GetState() != lineHeld {
		t.Errorf("one of two bolts was handed over: %v", l)
	}
	s.audit()
	_, err := do(s, finishPick, &inventoryv1.FinishPickRequest{Job: jobName(1), Partial: true})
	wantReason(t, err, "PICK_INCOMPLETE") // nothing is picked
}

// Nobody finds in a bin what the first did not find there: every job that had
// pieces there waits for the next delivery, and the book says what is there.
func TestAShortPickTellsEveryJobThatHadPiecesThere(t *testing.T) {
	s := kit(t)
	s.hears(confirmed(2, 0, line("seal", "SEAL", 1)))
	s.hears(confirmed(3, 5, line("seal", "SEAL", 1)))
	s.scans(3, "SEAL")
	order := s.orderSeals(1, monday.AddDate(0, 0, 4))
	r := must(s, reportShortPick, &inventoryv1.ReportShortPickRequest{Job: jobName(1), Line: "seal", Cause: inventoryv1.CountCause_COUNT_CAUSE_UNKNOWN})
	if r.GetPart().GetOnHand() != 1 || !slices.Equal(r.GetOtherJobs(), []string{jobName(2)}) {
		t.Errorf("told of %v, %v", r.GetPart(), r.GetOtherJobs())
	}
	wantLine(t, s, 1, "seal", lineShort, 0)
	wantLine(t, s, 2, "seal", lineShort, 0)
	wantLine(t, s, 3, "seal", lineHeld, 1) // it is in somebody's hand
	if eta := s.doc(1).GetEta().AsTime(); !eta.Equal(monday.AddDate(0, 0, 4)) {
		t.Errorf("%s brings the next one, and it is expected %v", order, eta)
	}
	if m := s.st.movements[s.st.moved]; m.GetQuantity() != -2 || m.GetReference() != jobName(1) {
		t.Errorf("the movement is %v", m)
	}
	s.audit()

	asked := s.st.questionsOpen()
	if len(asked) != 1 || asked[0].GetDifference() != -2 || asked[0].GetJob() != jobName(1) || !asked[0].GetBooked() || asked[0].GetByAnother() {
		t.Errorf("asked is %v", asked)
	}
	// The two lay in another bin: who waits gets them.
	must(s, countShelf, &inventoryv1.CountShelfRequest{Part: "SEAL", Counted: 3, Cause: mislaid, Reason: "in B-11"})
	wantState(t, s, 1, stateHeld)
	wantState(t, s, 2, stateHeld)
	if len(s.st.questionsOpen()) != 0 {
		t.Errorf("still asked: %v", s.st.questionsOpen())
	}
	s.audit()
	why, err := s.st.explain("SEAL")
	check(t, err)
	for _, want := range []string{"1 picked: held, and off their bin", "last difference: +2 on 2031-03-03, found by kim: mislaid, in B-11"} {
		if !slices.Contains(why.GetWhy(), want) {
			t.Errorf("why is %q, and lacks %q", why.GetWhy(), want)
		}
	}
}

func TestAShortPickIsRefusedWhereNothingIsMissing(t *testing.T) {
	s := kit(t)
	short := func(line string, cause inventoryv1.CountCause) error {
		_, err := do(s, reportShortPick, &inventoryv1.ReportShortPickRequest{Job: jobName(1), Line: line, Cause: cause})
		return err
	}
	wantReason(t, short("seal", inventoryv1.CountCause_COUNT_CAUSE_OTHER), "CAUSE_WITHOUT_WORDS")
	wantReason(t, short("ghost", mislaid), "LINE_NOT_FOUND")
	s.scans(1, "SEAL")
	wantReason(t, short("seal", mislaid), "LINE_NOT_IN_BIN")
}

// What was picked and is not wanted any more lies somewhere else than in its bin
// until somebody has put it back.
func TestWhatWasPickedInVainIsPutBack(t *testing.T) {
	s := kit(t)
	s.scans(1, "SEAL", "BOLT")
	s.hears(confirmed(2, 0, line("seals", "SEAL", 2)))
	s.hears(revised(1, 2, line("bolts", "BOLT", 1))) // no seal any more, and one bolt
	back := s.st.putBack()
	if len(back) != 1 || back[0].GetPart() != "SEAL" || !back[0].GetPicked() || back[0].GetQuantity() != 1 {
		t.Errorf("to put back: %v", back)
	}
	if l := s.lineOf(1, "bolts"); l.GetPicked() != 1 {
		t.Errorf("the bolt in the hand is asked for again: %v", l)
	}
	s.hears(confirmed(3, 0, line("seal", "SEAL", 1)))
	_, err := do(s, reportShortPick, &inventoryv1.ReportShortPickRequest{Job: jobName(3), Line: "seal", Cause: mislaid})
	wantReason(t, err, "PARTS_ASTRAY")
	s.passes(30 * 24 * time.Hour) // it is not forgotten, however long it lies there
	if len(s.st.putBack()) == 0 {
		t.Error("nobody is told any more to put it back")
	}
	must(s, putPartsAway, &inventoryv1.PutPartsAwayRequest{Job: jobName(1)})
	if left := strays(s.doc(1)); len(left) != 0 {
		t.Errorf("still astray: %v", left)
	}
	_, err = do(s, putPartsAway, &inventoryv1.PutPartsAwayRequest{Job: jobName(1)})
	wantReason(t, err, "NOTHING_TO_PUT_AWAY")
	s.audit()
}

func TestAPickIsUndone(t *testing.T) {
	s := kit(t)
	s.scans(1, "SEAL", "BOLT")
	must(s, putPartsAway, &inventoryv1.PutPartsAwayRequest{Job: jobName(1), Lines: []string{"seal"}})
	if l := s.lineOf(1, "seal"); l.GetPicked() != 0 || l.GetHeld() != 1 {
		t.Errorf("the seal lies in its bin and is held still: %v", l)
	}
	_, err := do(s, putPartsAway, &inventoryv1.PutPartsAwayRequest{Job: jobName(1), Lines: []string{"seal"}})
	wantReason(t, err, "LINE_NOT_PICKED")
	s.audit()
}

func TestTheMorningSaysWhatToPickAndToCount(t *testing.T) {
	s := kit(t)
	s.commit(booked(s.st, &inventoryv1.HoldBooked{Job: jobName(1), Turn: timestamppb.New(monday.Add(time.Hour)), Bay: "bays/2"}))
	s.scans(1, "OIL")
	must(s, reportShortPick, &inventoryv1.ReportShortPickRequest{Job: jobName(1), Line: "bolts", Cause: inventoryv1.CountCause_COUNT_CAUSE_UNKNOWN})
	m := s.st.morning(s.now, s.now.Add(oneDay))
	if len(m.GetPicks()) != 1 || m.GetPicks()[0].GetNext().GetPart() != "SEAL" || len(m.GetPicks()[0].GetMissing()) != 1 {
		t.Errorf("picks: %v", m.GetPicks())
	}
	if len(m.GetCounts()) != 1 || m.GetCounts()[0].GetPart() != "BOLT" || m.GetCounts()[0].GetBin() != "B-2" {
		t.Errorf("counts: %v", m.GetCounts())
	}
}
