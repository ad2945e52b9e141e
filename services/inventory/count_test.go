package inventory

import (
	"slices"
	"testing"

	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
)

const spoiled = inventoryv1.CountCause_COUNT_CAUSE_SPOILED

func (s *site) finds(person, part string, counted int64, cause inventoryv1.CountCause) (*inventoryv1.CountShelfResponse, error) {
	s.t.Helper()
	s.person = person
	defer func() { s.person = "kim" }()
	return do(s, countShelf, &inventoryv1.CountShelfRequest{Part: part, Counted: counted, Cause: cause})
}

func TestADifferenceIsExplained(t *testing.T) {
	s := newSite(t)
	s.list("SEAL")
	s.receive("SEAL", 3)
	_, err := s.finds("kim", "SEAL", 2, 0)
	wantReason(t, err, "COUNT_UNEXPLAINED")
	_, err = s.finds("kim", "SEAL", 2, inventoryv1.CountCause_COUNT_CAUSE_OTHER)
	wantReason(t, err, "CAUSE_WITHOUT_WORDS")
	if _, err = s.finds("kim", "SEAL", 3, 0); err != nil {
		t.Errorf("what agrees needs no cause: %v", err)
	}
	if r, err := s.finds("kim", "SEAL", 2, spoiled); err != nil || r.GetPart().GetOnHand() != 2 || r.GetQuestion() != nil {
		t.Errorf("a small difference is booked at once: %v, %v", r, err)
	}
	if m := s.st.movements[s.st.moved]; m.GetCause() != spoiled || m.GetSecondBy() != "" {
		t.Errorf("the movement is %v", m)
	}
}

// The cuts are common practice, no source; so are these cases.
func TestWhichDifferencesAreLarge(t *testing.T) {
	for _, row := range []struct {
		cost, onHand, difference int64
		large                    bool
	}{
		{cost: 9_999, onHand: 100, difference: -1, large: false},
		{cost: 10_000, onHand: 100, difference: -1, large: true},
		{cost: 10_000, onHand: 100, difference: 1, large: true},
		{cost: 5_000, onHand: 100, difference: -2, large: true},
		{cost: 0, onHand: 10, difference: -4, large: false}, // few
		{cost: 0, onHand: 20, difference: -5, large: true},  // a quarter, and nobody knows what it is worth
		{cost: 0, onHand: 21, difference: -5, large: false},
		{cost: 1, onHand: 20, difference: -20, large: false}, // a trifle
		{cost: 400, onHand: 20, difference: -5, large: true},
		{cost: 399, onHand: 20, difference: -5, large: false},
	} {
		p := &part{about: &inventoryv1.Part{Cost: &commonv1.Money{MinorUnits: row.cost, CurrencyCode: "EUR"}}, onHand: row.onHand}
		if got := p.large(row.difference); got != row.large {
			t.Errorf("%+v: %v", row, got)
		}
	}
}

func TestALargeDifferenceTakesTwoPeople(t *testing.T) {
	s := newSite(t)
	s.list("PUMP")
	s.st.parts["PUMP"].about.Cost.MinorUnits = 20_000
	s.receive("PUMP", 8)

	r, err := s.finds("kim", "PUMP", 6, mislaid)
	check(t, err)
	if r.GetPart().GetOnHand() != 8 || !r.GetQuestion().GetByAnother() || r.GetQuestion().GetDifference() != -2 {
		t.Errorf("one person counted, and it stands at %v", r)
	}
	if r, err := s.finds("kim", "PUMP", 6, mislaid); err != nil || r.GetPart().GetOnHand() != 8 {
		t.Errorf("the same person is no second one: %v, %v", r, err)
	}
	if r, err := s.finds("tom", "PUMP", 7, spoiled); err != nil || r.GetPart().GetOnHand() != 8 || r.GetQuestion().GetBy() != "tom" {
		t.Errorf("another figure asks anew: %v, %v", r, err)
	}
	// One comes in between: the difference is what two people found, not the figure.
	s.receive("PUMP", 1)
	r, err = s.finds("kim", "PUMP", 8, 0)
	check(t, err)
	if r.GetPart().GetOnHand() != 8 || r.GetQuestion() != nil || len(s.st.questionsOpen()) != 0 {
		t.Errorf("two found one less: %v", r)
	}
	why, err := s.st.explain("PUMP")
	check(t, err)
	if want := "last difference: -1 on 2031-03-03, found by tom and kim: spoiled"; !slices.Contains(why.GetWhy(), want) {
		t.Errorf("why is %q", why.GetWhy())
	}
	s.audit()
}

func TestWhatAPickerMissedIsCountedByAnother(t *testing.T) {
	s := newSite(t)
	s.list("PUMP")
	s.st.parts["PUMP"].about.Cost.MinorUnits = 20_000
	s.receive("PUMP", 2)
	s.hears(confirmed(1, 0, line("pump", "PUMP", 1)))
	must(s, reportShortPick, &inventoryv1.ReportShortPickRequest{Job: jobName(1), Line: "pump", Cause: inventoryv1.CountCause_COUNT_CAUSE_UNKNOWN})
	_, err := s.finds("kim", "PUMP", 0, 0)
	wantReason(t, err, "COUNT_BY_ANOTHER")
	if _, err = s.finds("tom", "PUMP", 0, 0); err != nil || len(s.st.questionsOpen()) != 0 {
		t.Errorf("tom found none either: %v, %v", err, s.st.questionsOpen())
	}
}
