package torqueaudit

import (
	"reflect"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"google.golang.org/protobuf/testing/protocmp"
	"pgregory.net/rapid"

	"ramprow/internal/platform/readmodel/readmodeltest"
	"ramprow/internal/platform/shelf"
	"ramprow/internal/platform/sitelog"
	jobv1 "ramprow/proto/ramprow/job/v1"
	pb "ramprow/proto/ramprow/torque_audit/v1"
)

var exported = cmp.Exporter(func(reflect.Type) bool { return true })

// A signed sheet waits until its wrench has passed a check, leaves a day later,
// and comes back as it was when somebody opens it again.
func TestASettledSheetLeavesAndComesBack(t *testing.T) {
	s := started(t, cover())
	s.complete("cover")
	s.wait(30 * 24 * time.Hour)
	if s.state.sheets[job1] == nil {
		t.Fatal("the sheet left although its wrench may still fail")
	}
	s.pass(100)
	before := s.state.sheets[job1].clone()
	s.wait(shelf.Rest - time.Second)
	if s.state.sheets[job1] == nil {
		t.Fatal("the sheet left before its time")
	}
	s.wait(time.Second)
	if len(s.state.sheets) != 0 {
		t.Fatal("the sheet did not leave")
	}
	if events := s.hear(&jobv1.StepDone{Job: job1, Step: "late"}); len(events) != 0 || len(s.state.sheets) != 0 {
		t.Errorf("late news bring %v and %d sheets", events, len(s.state.sheets))
	}
	_, err := s.state.sheet(job1)
	s.commit(readmodeltest.Recall(t, s.events, err))
	if diff := cmp.Diff(before, s.state.sheets[job1], protocmp.Transform(), cmpopts.EquateEmpty(), exported); diff != "" {
		t.Errorf("the sheet came back otherwise than it left:\n%s", diff)
	}
	accepted(s, "ada", decideReopenSheet, &pb.ReopenSheetRequest{Job: job1, Joints: []string{"cover"}, Reason: "leaks"})
	s.wait(10 * 24 * time.Hour)
	s.wantState(pb.SheetState_SHEET_STATE_REOPENED)
	s.complete("cover")
	s.wait(time.Hour)
	s.pass(100)
	s.wait(shelf.Rest)
	if len(s.state.sheets) != 0 {
		t.Error("the sheet did not leave again")
	}
}

// pass records that the wrench passed a check.
func (s *site) pass(nm float64) {
	s.t.Helper()
	accepted(s, "ada", decideRecordCheck, &pb.RecordWrenchCheckRequest{Wrench: bigWrench, TargetNm: nm, MeasuredNm: nm})
}

// A look-back leaves when it was seen and all of it is proved again, and what it
// says of its joints stays; then its sheets may leave, too.
func TestALookBackLeavesBeforeItsSheets(t *testing.T) {
	s := started(t, cover())
	s.complete("cover")
	s.wait(time.Hour)
	made := accepted(s, "ada", decideRecordCheck, &pb.RecordWrenchCheckRequest{Wrench: bigWrench, TargetNm: 100, MeasuredNm: 90}).GetLookBack()
	s.wait(time.Hour)
	s.pass(100)
	s.complete("cover")
	s.wait(time.Hour)
	s.pass(100)
	s.wait(10 * 24 * time.Hour)
	if len(s.state.sheets) != 1 || len(s.state.lookBacks) != 1 {
		t.Fatal("something left before the owner had seen it")
	}
	accepted(s, "ines", decideLookBackSeen, &pb.MarkLookBackSeenRequest{LookBack: made.GetName()})
	want, _ := s.state.doubtRow(made.GetName())
	s.wait(shelf.Rest)
	if len(s.state.sheets) != 1 || len(s.state.lookBacks) != 0 {
		t.Fatalf("after a day there are %d sheets, %d look-backs", len(s.state.sheets), len(s.state.lookBacks))
	}
	s.wait(shelf.Rest)
	if len(s.state.sheets) != 0 {
		t.Fatal("the sheet did not follow")
	}
	s.commit(readmodeltest.Recall(t, s.events, s.state.archived(made.GetName())))
	got, _ := s.state.doubtRow(made.GetName())
	if diff := cmp.Diff(want, got, protocmp.Transform()); diff != "" {
		t.Errorf("it came back otherwise:\n%s", diff)
	}
	s.wait(shelf.Rest)
	_, err := do(s, "ines", decideLookBackSeen, &pb.MarkLookBackSeenRequest{LookBack: made.GetName()})
	wantReason(t, err, "LOOK_BACK_SEEN")
	if next := s.state.lookBack(s.state.wrenches[bigWrench], &pb.WrenchCheck{}); lookBackOf(next).GetName() != "lookbacks/2" {
		t.Errorf("the next one is %s", lookBackOf(next).GetName())
	}
}

// Charts are the same whether the sheets behind them have left or not.
func TestChartsReachIntoTheArchive(t *testing.T) {
	s := started(t, cover())
	s.complete("cover")
	ask := func() (all [][]charted) {
		for _, req := range []*pb.GetTighteningStatisticsRequest{
			{By: pb.StatisticsBy_STATISTICS_BY_TOOL, Of: bigWrench},
			{By: pb.StatisticsBy_STATISTICS_BY_PERSON, Of: "ada"},
			{By: pb.StatisticsBy_STATISTICS_BY_JOINT, Of: "cover"},
			{By: pb.StatisticsBy_STATISTICS_BY_JOINT, Of: "pan"},
		} {
			all = append(all, s.state.chart(req))
		}
		return all
	}
	compare := func(when string, want [][]charted) {
		t.Helper()
		if diff := cmp.Diff(want, ask(), exported); diff != "" {
			t.Errorf("%s:\n%s", when, diff)
		}
	}
	want := ask()
	if len(want[0]) != 2 || len(want[1]) != 2 || len(want[2]) != 2 || len(want[3]) != 0 {
		t.Fatalf("charts of %v", want)
	}
	s.pass(100)
	s.wait(shelf.Rest)
	compare("archived", want)
	accepted(s, "ada", decideCorrectReading, &pb.CorrectReadingRequest{Job: job1, Number: 1, Reason: "slip"})
	corrected := ask()
	if len(corrected[0]) != 1 {
		t.Fatalf("after a correction %v", corrected)
	}
	s.complete("cover")
	whole := ask()
	s.pass(100)
	s.wait(shelf.Rest)
	if len(s.state.sheets) != 0 {
		t.Fatal("the sheet did not leave")
	}
	compare("archived again", whole)
}

// From a snapshot at any moment things go on leaving and coming back.
func TestSnapshotsOfTheArchive(t *testing.T) {
	left := 0
	rapid.Check(t, func(r *rapid.T) {
		s := newSite(t)
		s.register(torqueAngleWrench())
		other := torqueAngleWrench()
		other.Name = "wrenches/other"
		s.register(other)
		for range rapid.IntRange(5, 60).Draw(r, "steps") {
			s.wait(rapid.SampledFrom([]time.Duration{time.Minute, time.Hour, 25 * time.Hour}).Draw(r, "later"))
			switch rapid.IntRange(0, 9).Draw(r, "what") {
			case 0:
				s.pass(rapid.SampledFrom([]float64{20, 100}).Draw(r, "at"))
			case 1:
				l := accepted(s, "ada", decideRecordCheck, &pb.RecordWrenchCheckRequest{Wrench: "wrenches/other", TargetNm: 100, MeasuredNm: 90}).GetLookBack()
				accepted(s, "ines", decideLookBackSeen, &pb.MarkLookBackSeenRequest{LookBack: l.GetName()})
			default:
				goAbout(r, s)
			}
		}
		left += awayOf(s)
		readmodeltest.Cut(r, Projection(), s.events, rapid.IntRange(0, len(s.events)).Draw(r, "cut"))
	})
	if left == 0 {
		t.Error("nothing ever left")
	}
}

// A field that is not in the record would be lost when a sheet is archived.
func TestARecordHoldsEverything(t *testing.T) {
	j := &joint{
		due: cover(), readings: []*pb.Reading{{Number: 1}, {Number: 2}}, from: 1, ready: true, dropped: true, proved: true,
		departure: &pb.Departure{Reason: "r"}, residuals: []*pb.Residual{{Joint: "cover"}}, curves: []*pb.Curve{{Joint: "cover"}}, problem: "p",
		rechecks: []*pb.JointRecheck{{Number: 1}}, recheckFrom: 1, renewals: []*pb.FastenersRenewal{{By: "ada"}}, useCounts: []uint32{1, 2},
	}
	j.replay()
	sh := &sheet{
		job: job1, vehicle: "v", vin: "n", customer: "c", notice: "o", revision: 2, joints: []*joint{j}, readings: 2,
		complete: true, reopened: true, void: true, signedBy: "ada", signedAt: noon, opened: noon.Add(1), since: noon.Add(2), odometer: 90_000,
		pseudonym: "5f0c",
	}
	for _, whole := range []any{*sh, *j} {
		v := reflect.ValueOf(whole)
		for i := range v.NumField() {
			// A problem follows from the description, and this joint has none.
			if name := v.Type().Field(i).Name; v.Field(i).IsZero() && name != "problem" {
				t.Errorf("%s.%s is empty here: set it, and add it to the record", v.Type().Name(), name)
			}
		}
	}
	event, err := sitelog.Archive(job1, sh.record())
	if err != nil {
		t.Fatal(err)
	}
	var r pb.SheetRecord
	sitelog.Unpack(event.GetRecord(), &r)
	if diff := cmp.Diff(sh, recorded(&r), protocmp.Transform(), exported); diff != "" {
		t.Error(diff)
	}
}
