package torqueaudit

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"pgregory.net/rapid"

	jobv1 "ramprow/proto/ramprow/job/v1"
	pb "ramprow/proto/ramprow/torque_audit/v1"
)

// takeIn takes the same car in with another job, and begins its wheel.
func (s *site) takeIn(job string) {
	c := confirmed(1, wheel())
	c.Job, c.Vehicle.Vin = job, "YMR0RN16ZHA000001"
	s.hear(c)
	started := stepStarted("close.wheel")
	started.Job = job
	s.hear(started)
}

func (s *site) tightenBolt(job string, fastener uint32) error {
	return refused(s, &pb.PostReadingRequest{Job: job, Joint: "wheel", Fastener: fastener, Wrench: bigWrench, TorqueNm: 120, Moved: true})
}

func (s *site) usesIn(job string) []uint32 { return s.state.sheets[job].find("wheel").useCounts }

// TestUsesAreCountedOverTheJobsOfACar: three uses at most are the maker's and
// two of the workshop's, whichever job they are in; then a new bolt is asked for.
func TestUsesAreCountedOverTheJobsOfACar(t *testing.T) {
	s := newSite(t)
	s.register(torqueAngleWrench())
	for i, job := range []string{"jobs/1", "jobs/2"} {
		s.takeIn(job)
		for f := uint32(1); f <= 2; f++ {
			if err := s.tightenBolt(job, f); err != nil {
				t.Fatal(err)
			}
		}
		if want := uint32(i + 2); !slices.Equal(s.usesIn(job), []uint32{want, want}) {
			t.Fatalf("%s: %v uses, want %d", job, s.usesIn(job), want)
		}
	}
	s.takeIn("jobs/3")
	wantReason(t, s.tightenBolt("jobs/3", 1), "FASTENER_USED_UP")
	_, err := do(s, "ada", decideRenewFasteners, &pb.RenewFastenersRequest{Job: "jobs/3", Joint: "wheel", Fasteners: []uint32{3}})
	wantReason(t, err, "FASTENER_UNKNOWN")
	resp := accepted(s, "ada", decideRenewFasteners, &pb.RenewFastenersRequest{Job: "jobs/3", Joint: "wheel", Fasteners: []uint32{1}})
	if j := resp.GetSheet().GetJoints()[0]; !slices.Equal(j.GetUses(), []uint32{0, 3}) || len(j.GetRenewals()) != 1 || j.GetRenewals()[0].GetBy() != "ada" {
		t.Fatalf("renewed: %v", j)
	}
	if err := s.tightenBolt("jobs/3", 1); err != nil {
		t.Fatal(err)
	}
	wantReason(t, s.tightenBolt("jobs/3", 2), "FASTENER_USED_UP")
	if !slices.Equal(s.usesIn("jobs/3"), []uint32{1, 3}) || !slices.Equal(s.usesIn("jobs/1"), []uint32{2, 2}) {
		t.Errorf("uses %v and %v", s.usesIn("jobs/3"), s.usesIn("jobs/1"))
	}
	// Another car's bolts are others.
	c := confirmed(1, wheel())
	c.Job = "jobs/4"
	s.hear(c)
	if got := s.usesIn("jobs/4"); !slices.Equal(got, []uint32{1, 1}) {
		t.Errorf("another car: %v", got)
	}
}

// TestUsesWithinAJob: what a correction takes out was no use, and rework is one.
func TestUsesWithinAJob(t *testing.T) {
	s := newSite(t)
	s.register(torqueAngleWrench())
	s.takeIn(job1)
	post := func() {
		t.Helper()
		if err := s.tightenBolt(job1, 1); err != nil {
			t.Fatal(err)
		}
	}
	post()
	accepted(s, "ada", decideCorrectReading, &pb.CorrectReadingRequest{Job: job1, Number: 1, Reason: "the wrong car"})
	if !slices.Equal(s.usesIn(job1), []uint32{1, 1}) {
		t.Fatalf("after the correction: %v", s.usesIn(job1))
	}
	post()
	accepted(s, "ada", decideReopenSheet, &pb.ReopenSheetRequest{Job: job1, Joints: []string{"wheel"}, Reason: "leaks"})
	post()
	accepted(s, "ada", decideReopenSheet, &pb.ReopenSheetRequest{Job: job1, Joints: []string{"wheel"}, Reason: "leaks again"})
	wantReason(t, s.tightenBolt(job1, 1), "FASTENER_USED_UP")
	_, err := do(s, "ada", decideRenewFasteners, &pb.RenewFastenersRequest{Job: job1, Joint: "cover"})
	wantReason(t, err, "JOINT_NOT_FOUND")
}

// TestUsesUnderASealedNameLeaveWithTheSheet: another job's seal of the same VIN
// is another text, so nothing is kept for it, and nothing piles up.
func TestUsesUnderASealedNameLeaveWithTheSheet(t *testing.T) {
	s := newSite(t)
	s.register(torqueAngleWrench())
	c := confirmed(1, wheel())
	c.Vehicle.Vin = "{sealed:job-1:abc}"
	s.hear(c)
	s.hear(stepStarted("close.wheel"))
	s.complete("wheel")
	accepted(s, "ada", decideWaiveRecheck, &pb.WaiveRecheckRequest{Job: job1, Joint: "wheel", Reason: "done elsewhere"})
	s.wait(time.Hour)
	s.pass(100)
	s.wait(2 * days)
	if len(s.state.sheets) != 0 || len(s.state.uses) != 0 {
		t.Fatalf("%d sheets are left, and %v", len(s.state.sheets), s.state.uses)
	}
	accepted(s, "ada", decideReopenSheet, &pb.ReopenSheetRequest{Job: job1, Joints: []string{"wheel"}, Reason: "leaks"})
	if err := s.tightenBolt(job1, 1); err != nil {
		t.Fatal(err)
	}
	if got := s.usesIn(job1); !slices.Equal(got, []uint32{3, 2}) {
		t.Errorf("uses %v, want them to go on", got)
	}
}

func TestUsesOfNoLimitAreNotCounted(t *testing.T) {
	s := started(t, cover())
	_, err := do(s, "ada", decideRenewFasteners, &pb.RenewFastenersRequest{Job: job1, Joint: "cover"})
	wantReason(t, err, "USES_NOT_COUNTED")
	if r := posted(s, s.ideal("cover")).GetReading(); r.GetUse() != 0 || len(s.state.uses) != 0 {
		t.Errorf("counted: %v, %v", r, s.state.uses)
	}
}

// TestUsesAreWhatTheLogSays: a search over the bare events, in a way of its
// own, counts the same, and no bolt is ever tightened beyond its limit.
func TestUsesAreWhatTheLogSays(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		s := newSite(t)
		s.register(torqueAngleWrench())
		jobs := []string{"jobs/1", "jobs/2", "jobs/3"}
		for _, job := range jobs {
			s.takeIn(job)
		}
		want := []uint32{usedByMaker, usedByMaker}
		for range rapid.IntRange(1, 40).Draw(r, "steps") {
			s.now = s.now.Add(time.Minute)
			job := rapid.SampledFrom(jobs).Draw(r, "job")
			f := rapid.Uint32Range(1, 2).Draw(r, "fastener")
			switch rapid.IntRange(0, 5).Draw(r, "what") {
			case 0:
				accepted(s, "ada", decideRenewFasteners, &pb.RenewFastenersRequest{Job: job, Joint: "wheel", Fasteners: []uint32{f}})
				want[f-1] = 0
			case 1:
				accepted(s, "ada", decideReopenSheet, &pb.ReopenSheetRequest{Job: job, Joints: []string{"wheel"}, Reason: "leaks"})
			default:
				before := len(s.log)
				_ = s.tightenBolt(job, f)
				if len(s.log) > before {
					if m, ok := s.log[before].(*pb.ReadingPosted); ok && m.GetReading().GetCounts() {
						want[f-1]++
					}
				}
			}
			if want[f-1] > wheel().GetUses() {
				r.Fatalf("bolt %d was used %d times", f, want[f-1])
			}
		}
		got := s.state.uses.of(s.state.sheets[job1], &joint{due: &jobv1.JointDue{Joint: "wheel", Fasteners: 2}})
		if !slices.Equal(got, want) {
			r.Fatalf("counted %v, the log says %v", got, want)
		}
	})
}

// TestUsesUnderAPseudonymGoOn: the VIN is sealed under a key of each job, and the
// car is the same by its pseudonym, also once its sheet has left.
func TestUsesUnderAPseudonymGoOn(t *testing.T) {
	s := newSite(t)
	s.register(torqueAngleWrench())
	takeIn := func(job, pseudonym string) {
		c := confirmed(1, wheel())
		c.Job, c.Vehicle.Vin, c.Vehicle.Plate, c.Vehicle.Pseudonym = job, "{sealed:"+job+":abc}", "{sealed:"+job+":def}", pseudonym
		s.hear(c)
		started := stepStarted("close.wheel")
		started.Job = job
		s.hear(started)
	}
	takeIn(job1, "5f0c")
	s.complete("wheel")
	accepted(s, "ada", decideWaiveRecheck, &pb.WaiveRecheckRequest{Job: job1, Joint: "wheel", Reason: "done elsewhere"})
	s.wait(time.Hour)
	s.pass(100)
	s.wait(2 * days)
	if len(s.state.sheets) != 0 {
		t.Fatalf("%d sheets are left", len(s.state.sheets))
	}
	takeIn("jobs/2", "5f0c")
	if got := s.usesIn("jobs/2"); !slices.Equal(got, []uint32{2, 2}) {
		t.Errorf("the same car: %v", got)
	}
	takeIn("jobs/3", "77aa")
	if got := s.usesIn("jobs/3"); !slices.Equal(got, []uint32{1, 1}) {
		t.Errorf("another car: %v", got)
	}
	accepted(s, "ada", decideReopenSheet, &pb.ReopenSheetRequest{Job: job1, Joints: []string{"wheel"}, Reason: "leaks"})
	if err := s.tightenBolt(job1, 1); err != nil {
		t.Fatal(err)
	}
	if got := s.usesIn(job1); !slices.Equal(got, []uint32{3, 2}) {
		t.Errorf("the first sheet, opened again: %v", got)
	}
}

// TestUsesAreBounded: of too many cars, the one that was tightened longest ago
// goes; a sheet that is still there goes on with what it shows.
func TestUsesAreBounded(t *testing.T) {
	u, j := uses{}, &joint{due: wheel()}
	sheetOf := func(n int) *sheet {
		return &sheet{pseudonym: fmt.Sprint("car-", n), since: noon.Add(time.Duration(n) * time.Second)}
	}
	for n := range maxCarsCounted {
		u.set(sheetOf(n), j, []uint32{2, 2})
	}
	again := sheetOf(maxCarsCounted)
	again.pseudonym = "car-0"
	u.set(again, j, []uint32{3, 2})
	u.set(sheetOf(maxCarsCounted+1), j, []uint32{2, 1})
	if len(u) != maxCarsCounted || !slices.Equal(u.of(again, j), []uint32{3, 2}) {
		t.Errorf("%d cars, the first with %v", len(u), u.of(again, j))
	}
	gone := sheetOf(1)
	if got := u.of(gone, j); !slices.Equal(got, []uint32{usedByMaker, usedByMaker}) {
		t.Errorf("the second car has %v uses, want those of a first meeting", got)
	}
	if got := u.of(gone, &joint{due: wheel(), useCounts: []uint32{2, 2}}); !slices.Equal(got, []uint32{2, 2}) {
		t.Errorf("its sheet goes on with %v", got)
	}
}
