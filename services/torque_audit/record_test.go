package torqueaudit

import (
	"strings"
	"testing"

	"ramprow/internal/engine/fastening/record"
	pb "ramprow/proto/ramprow/torque_audit/v1"
)

// proved seals the record of the job and walks its chain.
func (s *site) proved() (record.Record, *record.Sealed, *record.Proof) {
	s.t.Helper()
	r := recordOf("north", s.state.sheets[job1].render())
	sealed, err := record.Seal(r)
	if err != nil {
		s.t.Fatal(err)
	}
	p, err := record.Verify(sealed.JSON)
	if err != nil {
		s.t.Fatal(err)
	}
	return r, sealed, p
}

// TestRecordOnlyGrows: whatever happens to a sheet, a record that was issued
// before is the beginning of the one that is issued later.
func TestRecordOnlyGrows(t *testing.T) {
	s := newSite(t)
	s.register(torqueAngleWrench())
	c := confirmed(1, cover(), head())
	c.Customer, c.Plan.Notice = "Invented Person", "Invented for the demonstration"
	s.hear(c)
	s.hear(stepStarted("close.cover"))
	s.hear(stepStarted("close.head"))
	var earlier []*record.Proof
	step := func(do func()) {
		do()
		_, _, p := s.proved()
		for i, e := range earlier {
			if err := e.Follows(p); err != nil {
				t.Fatalf("record %d: %v", i, err)
			}
		}
		earlier = append(earlier, p)
	}
	step(func() { posted(s, s.ideal("cover")) })
	step(func() {
		accepted(s, "ada", decideCorrectReading, &pb.CorrectReadingRequest{Job: job1, Number: 1, Reason: "read off the wrong bolt"})
	})
	step(func() { s.tighten("cover") })
	step(func() {
		accepted(s, "ben", decideSignDeparture, &pb.SignDepartureRequest{Job: job1, Joint: "head", FirstPerson: "ada", Reason: "the maker's bulletin"})
	})
	step(func() { accepted(s, "ada", decideSignSheet, &pb.SignSheetRequest{Job: job1}) })
	step(func() {
		accepted(s, "ada", decideRecordCheck, &pb.RecordWrenchCheckRequest{Wrench: bigWrench, TargetNm: 100, MeasuredNm: 90})
	})
	step(func() { s.hear(revised(2, head())) })

	r, sealed, p := s.proved()
	if len(p.Hashes) != 4 || r.Readings[1].TakesOut != 1 || r.Readings[0].Basis.Asked != "10 N·m (9 to 11)" ||
		r.Readings[0].Basis.Calibrated == nil || r.Readings[0].Basis.Deviation != 4 {
		t.Errorf("readings %+v", r.Readings)
	}
	page, err := record.HTML(r, sealed)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"Invented Person", "Invented for the demonstration", "maker&#39;s data", "taken out by 2"} {
		if !strings.Contains(page, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
}

func TestDepartureIsPrinted(t *testing.T) {
	s := started(t, cover())
	accepted(s, "ben", decideSignDeparture, &pb.SignDepartureRequest{Job: job1, Joint: "cover", FirstPerson: "ada", Reason: "bolt 2 out of reach"})
	r, sealed, _ := s.proved()
	page, err := record.HTML(r, sealed)
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(page, "bolt 2 out of reach") || !strings.Contains(page, "Answered for by ada and ben") {
		t.Errorf("the departure is not printed:\n%s", page)
	}
}
