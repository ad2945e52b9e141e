package torqueaudit

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	"ramprow/internal/platform/sitelog"
	cataloguev1 "ramprow/proto/ramprow/catalogue/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	pb "ramprow/proto/ramprow/torque_audit/v1"
)

// bruteForce searches the bare log for the joints that rest on readings of a
// wrench after a time, in a way of its own: for every joint it goes through the
// whole log once. It gives job and joint of each, sorted.
func bruteForce(log []sitelog.Event, wrench string) []string {
	good := time.Time{}
	places := map[string]bool{}
	for _, e := range log {
		switch m := e.Message.(type) {
		case *pb.WrenchSet:
			if at := m.GetWrench().GetCalibratedAt(); m.GetWrench().GetName() == wrench && at != nil && good.IsZero() {
				good = at.AsTime()
			}
		case *pb.WrenchChecked:
			if m.GetWrench() == wrench && m.GetCheck().GetPassed() {
				good = m.GetCheck().GetAt().AsTime()
			}
		case *pb.ReadingPosted:
			places[m.GetJob()+" "+m.GetReading().GetJoint()] = true
		}
	}
	var found []string
	for place := range places {
		job, joint, _ := strings.Cut(place, " ")
		if restsOnWrench(log, job, joint, wrench, good) {
			found = append(found, place)
		}
	}
	slices.Sort(found)
	return found
}

func restsOnWrench(log []sitelog.Event, job, joint, wrench string, good time.Time) bool {
	standing := map[uint32]bool{}
	rechecked := uint32(1_000_000) // beyond all numbers of readings; each re-check begins anew
	var due *jobv1.JointDue
	again := func(joints []*jobv1.JointDue) {
		for _, d := range joints {
			if d.GetJoint() != joint {
				continue
			}
			if due != nil && !proto.Equal(due, d) {
				clear(standing) // another tightening was asked for
			}
			due = d
		}
	}
	for _, e := range log {
		if m, ok := e.Message.(ofJob); !ok || m.GetJob() != job {
			continue
		}
		switch m := e.Message.(type) {
		case *pb.SheetOpened:
			again(m.GetJoints())
		case *pb.SheetRevised:
			again(m.GetJoints())
		case *pb.SheetReopened:
			if slices.Contains(m.GetJoints(), joint) {
				clear(standing)
			}
		case *pb.RecheckReadingPosted:
			r := m.GetReading()
			standing[rechecked+r.GetNumber()] = m.GetJoint() == joint && r.GetWrench() == wrench && r.GetCounts() && r.GetAt().AsTime().After(good)
		case *pb.RecheckEnded:
			rechecked += 1000
		case *pb.ReadingPosted:
			r := m.GetReading()
			standing[r.GetNumber()] = r.GetJoint() == joint && r.GetWrench() == wrench && r.GetCounts() && r.GetAt().AsTime().After(good)
		case *pb.ReadingCorrected:
			delete(standing, m.GetNumber())
		}
	}
	for _, stands := range standing {
		if stands {
			return true
		}
	}
	return false
}

// TestLookBackIsWhatBruteForceFinds lets a workshop go about several jobs with
// two wrenches: readings, mistakes, rework, other plans, departures, cancelled
// jobs, checks. Whenever a wrench fails, its list is exactly what a search over
// the bare log finds, and every audit that can be opened again is.
func TestLookBackIsWhatBruteForceFinds(t *testing.T) {
	failures, listed, away := 0, 0, 0
	rapid.Check(t, func(r *rapid.T) {
		s := newSite(t)
		s.register(torqueAngleWrench())
		other := torqueAngleWrench()
		other.Name, other.Title = "wrenches/other", "Other wrench"
		s.register(other)
		for range rapid.IntRange(20, 80).Draw(r, "steps") {
			s.wait(rapid.SampledFrom([]time.Duration{time.Minute, time.Hour, time.Hour, 25 * time.Hour}).Draw(r, "later"))
			if rapid.IntRange(0, 14).Draw(r, "what") > 0 {
				goAbout(r, s)
				continue
			}
			wrench := rapid.SampledFrom([]string{bigWrench, "wrenches/other"}).Draw(r, "wrench")
			want := bruteForce(s.events, wrench)
			resp := accepted(s, "ada", decideRecordCheck, &pb.RecordWrenchCheckRequest{Wrench: wrench, TargetNm: 100, MeasuredNm: 90})
			checkLookBack(r, s, resp.GetLookBack(), want)
			if rapid.Bool().Draw(r, "looked") {
				accepted(s, "ines", decideLookBackSeen, &pb.MarkLookBackSeenRequest{LookBack: resp.GetLookBack().GetName()})
			}
			away += awayOf(s)
			failures++
			listed += len(want)
			s.now = s.now.Add(time.Hour)
			if rapid.Bool().Draw(r, "mended") {
				accepted(s, "ada", decideRecordCheck, &pb.RecordWrenchCheckRequest{Wrench: wrench, TargetNm: 100, MeasuredNm: 100})
			}
		}
	})
	t.Logf("%d failed checks put %d joints in doubt, beside %d things that had left", failures, listed, away)
	if failures > 50 && (listed == 0 || away == 0) {
		t.Error("no wrench ever put a joint in doubt, or nothing ever left")
	}
}

func awayOf(s *site) int {
	sheets, _ := s.state.shelves.sheets.Len()
	lookBacks, _ := s.state.shelves.lookBacks.Len()
	return sheets + lookBacks
}

func checkLookBack(r *rapid.T, s *site, got *pb.LookBack, want []string) {
	var places []string
	for _, l := range got.GetLines() {
		places = append(places, l.GetJob()+" "+l.GetJoint())
		sh := s.state.sheets[l.GetJob()]
		if l.GetVehicle() == "" || l.GetCustomer() != "Customer of "+l.GetJob() || l.GetReadings() == 0 {
			r.Fatalf("line %v", l)
		}
		if l.GetCannotReopen() == "" && (sh.void || sh.complete || sh.find(l.GetJoint()).settled()) {
			r.Fatalf("%s still counts as done", l.GetJoint())
		}
		if l.GetCannotReopen() != "" && !sh.void && !sh.find(l.GetJoint()).dropped {
			r.Fatalf("%s of %s is not opened again: %s", l.GetJoint(), l.GetJob(), l.GetCannotReopen())
		}
	}
	slices.Sort(places)
	if !slices.Equal(places, want) {
		r.Fatalf("listed %v, brute force finds %v", places, want)
	}
}

// plainJoint is a joint of two bolts to a torque.
func plainJoint(id string, nm float64) *jobv1.JointDue {
	return &jobv1.JointDue{
		Joint: id, Title: id, Fasteners: 2, Order: []uint32{1, 2},
		Designs: []*jobv1.JointStages{{Stages: []*cataloguev1.Stage{torqueStage(nm)}}},
	}
}

// goAbout is one thing that happens in a workshop.
func goAbout(r *rapid.T, s *site) {
	job := fmt.Sprintf("jobs/%d", rapid.IntRange(1, 4).Draw(r, "job"))
	joint := rapid.SampledFrom([]string{"cover", "pan", "rail"}).Draw(r, "joint")
	sh := s.state.sheets[job]
	if sh == nil && s.state.archived(job) != nil {
		awaken(r, s, job, joint)
		return
	}
	if sh == nil {
		c := confirmed(1, plainJoint("cover", 10), plainJoint("pan", 20))
		c.Job, c.Customer = job, "Customer of "+job
		s.hear(c)
		return
	}
	switch rapid.IntRange(0, 16).Draw(r, "kind") {
	case 0:
		m := revised(sh.revision+1, plainJoint("cover", rapid.SampledFrom([]float64{10, 12}).Draw(r, "nm")))
		if rapid.Bool().Draw(r, "more") {
			m.Plan.Joints = append(m.Plan.Joints, plainJoint("pan", 20), plainJoint("rail", 30))
		}
		m.Job = job
		s.hear(m)
	case 1:
		_, _ = do(s, "ada", decideReopenSheet, &pb.ReopenSheetRequest{Job: job, Joints: []string{joint}, Reason: "leaks"})
	case 2:
		_, _ = do(s, "ada", decideCorrectReading, &pb.CorrectReadingRequest{Job: job, Number: rapid.Uint32Range(1, 6).Draw(r, "number"), Reason: "slip"})
	case 3:
		_, _ = do(s, "ben", decideSignDeparture, &pb.SignDepartureRequest{Job: job, Joint: joint, FirstPerson: "ada", Reason: "no room"})
	case 4:
		_, _ = do(s, "ada", decideSignSheet, &pb.SignSheetRequest{Job: job})
	case 5:
		if rapid.IntRange(0, 3).Draw(r, "really") == 0 {
			s.hear(&jobv1.JobCancelled{Job: job, Reason: "sold"})
		}
	default:
		next := sh.nextTurn("")
		if next == nil {
			_, _ = do(s, "ada", decideSignSheet, &pb.SignSheetRequest{Job: job})
			return
		}
		_, _ = do(s, "ada", decidePostReading, &pb.PostReadingRequest{
			Job: job, Joint: next.GetJoint(), Fastener: next.GetFastener(),
			Wrench:   rapid.SampledFrom([]string{bigWrench, "wrenches/other"}).Draw(r, "with"),
			TorqueNm: next.GetSpec().GetTorqueNm() * rapid.SampledFrom([]float64{1, 1, 1, 0.8}).Draw(r, "pull"),
		})
	}
}

// awaken is what happens to a car whose audit has left the state.
func awaken(r *rapid.T, s *site, job, joint string) {
	switch rapid.IntRange(0, 5).Draw(r, "late") {
	case 0:
		m := revised(9, plainJoint("cover", 10))
		m.Job = job
		s.hear(m)
	case 1:
		_, _ = do(s, "ada", decideReopenSheet, &pb.ReopenSheetRequest{Job: job, Joints: []string{joint}, Reason: "leaks"})
	case 2:
		s.hear(&jobv1.StepDone{Job: job, Step: "late"})
	}
}

// TestLookBackIsSeenAndSettled: it is open until the owner has seen it and the
// joint is proved again.
func TestLookBackIsSeenAndSettled(t *testing.T) {
	s := started(t, cover())
	s.complete("cover")
	s.now = s.now.Add(time.Hour)
	made := accepted(s, "ada", decideRecordCheck, &pb.RecordWrenchCheckRequest{Wrench: bigWrench, TargetNm: 100, MeasuredNm: 90}).GetLookBack()
	if len(made.GetLines()) != 1 || !made.GetLines()[0].GetWasComplete() || made.GetLines()[0].GetReadings() != 2 {
		t.Fatalf("look-back %v", made)
	}
	open := func() bool {
		r, ok := s.state.doubtRow(made.GetName())
		if !ok {
			t.Fatal("no row")
		}
		return len(r.Index) == 2
	}
	got := accepted(s, "ines", decideLookBackSeen, &pb.MarkLookBackSeenRequest{LookBack: made.GetName()}).GetLookBack()
	if got.GetSeenBy() != "ines" || got.GetOpen() != 1 || !open() {
		t.Errorf("seen %v", got)
	}
	_, err := do(s, "ines", decideLookBackSeen, &pb.MarkLookBackSeenRequest{LookBack: made.GetName()})
	wantReason(t, err, "LOOK_BACK_SEEN")
	_, err = do(s, "ines", decideLookBackSeen, &pb.MarkLookBackSeenRequest{LookBack: "lookbacks/7"})
	wantReason(t, err, "LOOK_BACK_NOT_FOUND")
	s.now = s.now.Add(time.Hour)
	accepted(s, "ada", decideRecordCheck, &pb.RecordWrenchCheckRequest{Wrench: bigWrench, TargetNm: 100, MeasuredNm: 100})
	s.complete("cover")
	if open() {
		t.Error("still open although it is proved again")
	}
	again, err := restore("north", encoded(t, s.state))
	if err != nil {
		t.Fatal(err)
	}
	if l := again.renderLookBack(again.lookBacks[made.GetName()]); l.GetSeenBy() != "ines" || l.GetOpen() != 0 || len(again.ofSheet(job1)) != 3 {
		t.Errorf("from the snapshot %v", l)
	}
}

func encoded(t *testing.T, s *State) []byte {
	t.Helper()
	data, err := snapshot(s)()
	if err != nil {
		t.Fatal(err)
	}
	return data
}
