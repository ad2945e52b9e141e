package torqueaudit

import (
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/engine/fastening/record"
	"ramprow/internal/platform/readmodel/readmodeltest"
	cataloguev1 "ramprow/proto/ramprow/catalogue/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	pb "ramprow/proto/ramprow/torque_audit/v1"
)

const days = 24 * time.Hour

// out is a site whose sheet of a wheel and a cover is signed; the car came in at 90,000 km.
func out(t *testing.T) *site {
	s := newSite(t)
	s.register(torqueAngleWrench())
	c := confirmed(1, cover(), wheel())
	c.Customer, c.Vehicle.OdometerKm = "Invented Person", 90_000
	s.hear(c)
	s.hear(stepStarted("close.cover"))
	s.hear(stepStarted("close.wheel"))
	s.complete("cover", "wheel")
	return s
}

func (s *site) try(fastener uint32, moved bool, odometer float64) (*pb.PostRecheckReadingResponse, error) {
	return do(s, "ben", decideRecheckReading, &pb.PostRecheckReadingRequest{
		Job: job1, Joint: "wheel", Fastener: fastener, Wrench: bigWrench, TorqueNm: 120, Moved: moved, OdometerKm: odometer,
	})
}

// listed are the re-checks in the list, most urgent first.
func (s *site) listed() []*pb.JointRecheck {
	var found []*pb.JointRecheck
	for _, key := range keys(s.state, modelRecheck) {
		if r, ok := row(s.state, key); ok {
			found = append(found, r.Value.(*pb.JointRecheck))
		}
	}
	return found
}

// TestRecheckIsAskedWhenTheSheetIsComplete: by the specification's distance,
// counted from the odometer, whole and once.
func TestRecheckIsAskedWhenTheSheetIsComplete(t *testing.T) {
	s := out(t)
	asked, ok := s.log[len(s.log)-1].(*pb.RecheckAsked)
	if !ok || asked.GetJoint() != "wheel" {
		t.Fatalf("last event %v", s.log[len(s.log)-1])
	}
	r := asked.GetRecheck()
	if r.GetCustomer() != "Invented Person" || r.GetVehicle() != "AB 123" || r.GetDueOdometerKm() != 90_050 ||
		r.GetTorqueNm() != 120 || r.GetLowNm() != 108 || r.GetHighNm() != 132 || r.GetFasteners() != 2 || r.GetDueSpecified() {
		t.Fatalf("asked %v", r)
	}
	if want := "after 50 km (from 90050 km on), ask by 9 March 2026"; r.GetSays() != want {
		t.Errorf("says %q, want %q", r.GetSays(), want)
	}
	if got := s.listed(); len(got) != 1 || !proto.Equal(got[0], r) {
		t.Errorf("listed %v", got)
	}
}

func TestRecheckHolds(t *testing.T) {
	s := out(t)
	s.now = s.now.Add(3 * days)
	_, err := s.try(1, false, 90_020)
	wantReason(t, err, "RECHECK_TOO_EARLY")
	first, err := s.try(1, false, 90_060)
	if err != nil || !first.GetReading().GetCounts() || first.GetRecheck().GetState() != pb.RecheckState_RECHECK_STATE_DUE {
		t.Fatalf("first try %v, %v", first, err)
	}
	last, err := s.try(2, false, 90_060)
	if err != nil || last.GetRecheck().GetState() != pb.RecheckState_RECHECK_STATE_HELD || last.GetRecheck().GetEndedBy() != "ben" {
		t.Fatalf("last try %v, %v", last, err)
	}
	s.wantState(pb.SheetState_SHEET_STATE_COMPLETE)
	if len(s.listed()) != 0 || len(s.state.rechecking) != 0 {
		t.Errorf("still listed: %v", s.listed())
	}
	_, err = s.try(1, false, 0)
	wantReason(t, err, "RECHECK_NOT_DUE")
	page := s.page()
	for _, want := range []string{"Checked again once the car has run", "held", "at rest", "90060 km"} {
		if !strings.Contains(page, want) {
			t.Errorf("the record lacks %q", want)
		}
	}
}

// page is the record of the job in print, after its chain was walked.
func (s *site) page() string {
	s.t.Helper()
	r, sealed, _ := s.proved()
	page, err := record.HTML(r, sealed)
	if err != nil {
		s.t.Fatal(err)
	}
	return page
}

// TestRecheckThatFailsOpensTheJoint: what moved is tightened again from its
// first stage, signed again, and then checked once more.
func TestRecheckThatFailsOpensTheJoint(t *testing.T) {
	s := out(t)
	s.now = s.now.Add(3 * days)
	resp, err := s.try(2, true, 0)
	if err != nil || resp.GetRecheck().GetState() != pb.RecheckState_RECHECK_STATE_FAILED || resp.GetSheetState() != pb.SheetState_SHEET_STATE_REOPENED {
		t.Fatalf("%v, %v", resp, err)
	}
	ended, ok := s.log[len(s.log)-2].(*pb.RecheckEnded)
	reopened, again := s.log[len(s.log)-1].(*pb.SheetReopened)
	if !ok || !again || ended.GetTitle() != "Wheel" || !strings.Contains(reopened.GetReason(), "bolt 2 moved") || len(reopened.GetJoints()) != 1 {
		t.Fatalf("events %v", s.log[len(s.log)-2:])
	}
	if got := s.listed(); len(got) != 1 || got[0].GetState() != pb.RecheckState_RECHECK_STATE_FAILED {
		t.Fatalf("what failed must be listed until it is tight: %v", got)
	}
	s.complete("wheel")
	got := s.listed()
	if len(got) != 1 || got[0].GetNumber() != 2 || got[0].GetState() != pb.RecheckState_RECHECK_STATE_DUE {
		t.Fatalf("asked again: %v", got)
	}
}

// TestRecheckEnds without a try: given up by name, or because nobody came.
func TestRecheckEnds(t *testing.T) {
	s := out(t)
	_, err := do(s, "ada", decideWaiveRecheck, &pb.WaiveRecheckRequest{Job: job1, Joint: "wheel", Reason: " "})
	wantReason(t, err, "REASON_NEEDED")
	_, err = do(s, "", decideWaiveRecheck, &pb.WaiveRecheckRequest{Job: job1, Joint: "wheel", Reason: "elsewhere"})
	wantReason(t, err, "SIGNER_UNNAMED")
	given := accepted(s, "dora", decideWaiveRecheck, &pb.WaiveRecheckRequest{Job: job1, Joint: "wheel", Reason: "done elsewhere"})
	if r := given.GetRecheck(); r.GetState() != pb.RecheckState_RECHECK_STATE_WAIVED || r.GetEndedBy() != "dora" || len(s.listed()) != 0 {
		t.Fatalf("given up: %v", r)
	}
	s = out(t)
	at, pending := due(s.state)
	if want := s.now.AddDate(0, 0, recheckDaysByDistance); !pending || !at.Equal(want) {
		t.Fatalf("reminds at %v, want %v", at, want)
	}
	s.now = s.now.AddDate(0, 0, recheckDaysByDistance)
	s.fire()
	if r := s.listed(); len(r) != 1 || !r[0].GetReminded() {
		t.Fatalf("not reminded: %v", r)
	}
	s.now = s.now.Add(recheckPatience)
	s.fire()
	if r := s.state.sheets[job1].find("wheel").lastRecheck(); r.GetState() != pb.RecheckState_RECHECK_STATE_LAPSED || !strings.Contains(r.GetReason(), "nobody came") {
		t.Fatalf("%v", r)
	}
}

// TestRecheckFollowsTheSheet: rework or a cancelled job withdraws it, and
// another joint's rework leaves it alone.
func TestRecheckFollowsTheSheet(t *testing.T) {
	s := out(t)
	accepted(s, "ada", decideReopenSheet, &pb.ReopenSheetRequest{Job: job1, Joints: []string{"cover"}, Reason: "leaks"})
	if len(s.listed()) != 1 {
		t.Fatal("rework elsewhere took the re-check away")
	}
	s.complete("cover")
	if got := s.listed(); len(got) != 1 || got[0].GetNumber() != 1 {
		t.Fatalf("asked twice: %v", got)
	}
	accepted(s, "ada", decideReopenSheet, &pb.ReopenSheetRequest{Job: job1, Joints: []string{"wheel"}, Reason: "wrong bolts"})
	if r := s.state.sheets[job1].find("wheel").lastRecheck(); r.GetState() != pb.RecheckState_RECHECK_STATE_WITHDRAWN || len(s.listed()) != 0 {
		t.Fatalf("%v", r)
	}
	s.complete("wheel")
	s.hear(&jobv1.JobCancelled{Job: job1, Reason: "sold"})
	if len(s.listed()) != 0 || len(s.state.rechecking) != 0 {
		t.Fatal("a cancelled job's re-check is still listed")
	}
}

// TestRecheckSpecifications: what is asked, from when on and by when.
func TestRecheckSpecifications(t *testing.T) {
	for _, c := range []struct {
		name      string
		spec      *cataloguev1.Recheck
		odometer  int64
		says      string
		low, high float64
		refused   time.Duration // too early until then; 0: never
	}{
		{"running", &cataloguev1.Recheck{AfterMinutes: 30}, 0, "after 30 minutes of running, ask by 3 March 2026", 108, 132, 30 * time.Minute},
		{"distance or running", &cataloguev1.Recheck{AfterKm: 50, AfterMinutes: 30}, 0, "after 50 km or after 30 minutes of running, ask by 9 March 2026", 108, 132, 0},
		{"a date", &cataloguev1.Recheck{WithinDays: 14}, 0, "by 16 March 2026 at the latest", 108, 132, 0},
		{"a torque of its own", &cataloguev1.Recheck{AfterKm: 80, TorqueNm: 100}, 5000, "after 80 km (from 5080 km on), ask by 9 March 2026", 90, 110, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := newSite(t)
			s.register(torqueAngleWrench())
			w := wheel()
			w.Recheck = c.spec
			m := confirmed(1, w)
			m.Vehicle.OdometerKm = c.odometer
			s.hear(m)
			s.hear(stepStarted("close.wheel"))
			s.complete("wheel")
			r := s.listed()[0]
			if r.GetSays() != c.says || r.GetLowNm() != c.low || r.GetHighNm() != c.high {
				t.Errorf("%v, want %q, %g to %g", r, c.says, c.low, c.high)
			}
			if c.refused > 0 {
				s.now = s.now.Add(c.refused - time.Minute)
				_, err := s.try(1, false, 0)
				wantReason(t, err, "RECHECK_TOO_EARLY")
				s.now = s.now.Add(time.Minute)
			}
			if _, err := do(s, "ben", decideRecheckReading, &pb.PostRecheckReadingRequest{
				Job: job1, Joint: "wheel", Fastener: 1, Wrench: bigWrench, TorqueNm: r.GetTorqueNm(),
			}); err != nil {
				t.Error(err)
			}
			_, err := do(s, "ben", decideRecheckReading, &pb.PostRecheckReadingRequest{
				Job: job1, Joint: "wheel", Fastener: 1, Wrench: bigWrench, TorqueNm: 120, At: timestamppb.New(noon.Add(-time.Hour)),
			})
			wantReason(t, err, "RECHECK_TOO_EARLY")
		})
	}
}

// TestRecheckRestsOnItsWrench: one that is found out puts the joint in doubt,
// although another wrench tightened it.
func TestRecheckRestsOnItsWrench(t *testing.T) {
	s := out(t)
	other := torqueAngleWrench()
	other.Name = "wrenches/other"
	s.register(other)
	s.now = s.now.Add(days)
	for f := range uint32(2) {
		accepted(s, "ben", decideRecheckReading, &pb.PostRecheckReadingRequest{Job: job1, Joint: "wheel", Fastener: f + 1, Wrench: "wrenches/other", TorqueNm: 120})
	}
	s.now = s.now.Add(days)
	made := accepted(s, "ada", decideRecordCheck, &pb.RecordWrenchCheckRequest{Wrench: "wrenches/other", TargetNm: 100, MeasuredNm: 80})
	if lines := made.GetLookBack().GetLines(); len(lines) != 1 || lines[0].GetJoint() != "wheel" || lines[0].GetReadings() != 2 {
		t.Fatalf("look-back %v", made.GetLookBack())
	}
	s.wantState(pb.SheetState_SHEET_STATE_REOPENED)
}

// TestRecheckIsBounded: a wrench that repeats itself is refused in the end.
func TestRecheckIsBounded(t *testing.T) {
	s := out(t)
	for range 2 * maxTriesPerFastener {
		if _, err := s.try(1, false, 0); err != nil {
			t.Fatal(err)
		}
	}
	_, err := s.try(1, false, 0)
	wantReason(t, err, "RECHECK_FULL")
}

// TestASheetWaitsForItsRecheck: it stays in the state while the re-check is to
// be done, leaves when it held, and comes back with it and with its uses.
func TestASheetWaitsForItsRecheck(t *testing.T) {
	s := out(t)
	s.wait(days)
	s.pass(100)
	s.wait(40 * days)
	if s.state.sheets[job1] == nil {
		t.Fatal("the sheet left with a re-check to be done")
	}
	for f := range uint32(2) {
		if _, err := s.try(f+1, false, 0); err != nil {
			t.Fatal(err)
		}
	}
	s.wait(days)
	if s.state.sheets[job1] == nil {
		t.Fatal("the sheet left although the wrench of its re-check may still fail")
	}
	s.pass(100)
	before := s.state.sheets[job1].clone()
	s.wait(2 * days)
	if len(s.state.sheets) != 0 || len(s.listed()) != 0 {
		t.Fatal("the sheet did not leave")
	}
	_, err := s.state.sheet(job1)
	s.commit(readmodeltest.Recall(t, s.events, err))
	if diff := cmp.Diff(before, s.state.sheets[job1], protocmp.Transform(), cmpopts.EquateEmpty(), exported); diff != "" {
		t.Errorf("the sheet came back otherwise than it left:\n%s", diff)
	}
	_, err = s.try(1, false, 0)
	wantReason(t, err, "RECHECK_NOT_DUE")
}
