package job

import (
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"

	jobv1 "ramprow/proto/ramprow/job/v1"
)

func refusedAt(s *site, causes ...string) error {
	_, err := s.try(confirming(causes...))
	return err
}

func TestConfirming(t *testing.T) {
	s := opened(t)
	wantRefusal(t, refusedAt(s, "ghost"), "UNKNOWN_CAUSE", "cause")
	events := s.do(confirming("plug-1", "coil-4"))
	wantNames(t, events, "DiagnosisConfirmed")
	m := events[0].(*jobv1.DiagnosisConfirmed)
	if !slices.Equal(m.GetCauses(), []string{"coil-4", "plug-1"}) || m.GetPlan().GetRevision() != 1 ||
		!strings.HasPrefix(m.GetTitle(), "RP-OR 16") || m.GetEarliestStart().AsTime() != monday {
		t.Errorf("confirmed as %v", m)
	}
	wantRefusal(t, refusedAt(s, "coil-4", "plug-1"), "DIAGNOSIS_UNCHANGED")
	wantRefusal(t, refusedAt(s, "ghost"), "UNKNOWN_CAUSE", "cause")
	wantNames(t, s.do(confirming("plug-1")), "PlanRevised")
}

// TestReplanHalfWay confirms another cause with the car open.
func TestReplanHalfWay(t *testing.T) {
	s := ready(t, "follower-4")
	s.work(func(p *jobv1.PlannedStep) bool { return p.GetKind() == jobv1.PlannedStep_KIND_REPAIR })
	j := s.job().clone()
	// The valve cover may have to come off for either; what is off must go back once.
	m := s.do(confirming("coil-4"))[0].(*jobv1.PlanRevised)
	for id, p := range j.Progress {
		if p.State == jobv1.StepState_STEP_STATE_DONE && (!slices.Contains(m.GetStepsDone(), id) || s.job().step(id) == nil) {
			t.Errorf("%s was done and is not in the revision", id)
		}
	}
	for _, source := range j.Car.Off {
		if s.job().step("refit."+source) == nil {
			t.Errorf("%s is off and nothing puts it back", source)
		}
	}
	if m.GetPlan().GetRevision() != j.Plan.GetRevision()+1 || m.GetReason() == "" || m.GetVehicle() == nil {
		t.Errorf("revised as revision %d, reason %q", m.GetPlan().GetRevision(), m.GetReason())
	}
	want := m.GetPlan().GetEffort().GetP50().AsDuration() - j.left().GetP50().AsDuration()
	if m.GetChange().AsDuration() != want || want == 0 {
		t.Errorf("change %s, want %s", m.GetChange().AsDuration(), want)
	}
	s.issueAll()
	s.work(nil)
	if j := s.job(); !j.allDone() || len(j.Car.Off)+len(j.Car.States) != 0 {
		t.Errorf("not together: %+v", j.Car)
	}
	// Opened again for the first cause: the same steps a second time.
	s.do(confirming("coil-4", "follower-4"))
	again := s.job().nextStep()
	if !strings.HasSuffix(again.GetId(), ".2") || !s.job().FinishedAt.IsZero() {
		t.Errorf("next is %s, finished at %s", again.GetId(), s.job().FinishedAt)
	}
	for _, p := range s.job().Plan.GetSteps() {
		if p.GetId() == "repair.coil-4.2" {
			t.Error("a repair that is done is planned again")
		}
	}
	s.issueAll()
	s.work(nil)
	if !slices.Equal(s.job().Car.Repaired, []string{"coil-4", "follower-4"}) {
		t.Errorf("repaired %v", s.job().Car.Repaired)
	}
}

// TestReplanThatLeavesNothing drops a cause when everything else is done: no
// step is left to finish the work with.
func TestReplanThatLeavesNothing(t *testing.T) {
	s := ready(t, "coil-4")
	s.work(nil)
	finished := s.job().FinishedAt
	s.wait(time.Hour).do(confirming("coil-4", "plug-1"))
	if !s.job().FinishedAt.IsZero() {
		t.Error("there is new work, but the old end stands")
	}
	wantNames(t, s.do(confirming("coil-4")), "PlanRevised WorkFinished")
	if s.job().FinishedAt.Equal(finished) || s.job().stage() != jobv1.JobState_JOB_STATE_PROVING {
		t.Errorf("finished at %s, %s", s.job().FinishedAt, s.job().stage())
	}
}

// TestDroppedStepComesBack keeps the minutes of a step under way over two revisions.
func TestDroppedStepComesBack(t *testing.T) {
	s := ready(t, "follower-4")
	var id string
	s.work(func(p *jobv1.PlannedStep) bool { id = p.GetId(); return p.GetKind() == jobv1.PlannedStep_KIND_REPAIR })
	started := s.now
	s.do(starting(id))
	s.wait(4 * time.Minute).do(confirming("coil-4"))
	p := s.job().Progress[id]
	if p.State != jobv1.StepState_STEP_STATE_DROPPED || p.Worked != 4*time.Minute {
		t.Fatalf("dropped as %+v", p)
	}
	rows := s.job().progressRows()
	if n := len(rows); n != len(s.job().Plan.GetSteps())+1 || rows[n-1].GetStep() != id {
		t.Errorf("the dropped step is not told last once: %v", rows)
	}
	s.wait(time.Hour).do(confirming("follower-4"))
	if p := s.job().Progress[id]; p.State != jobv1.StepState_STEP_STATE_PLANNED {
		t.Errorf("back as %+v", p)
	}
	s.issueAll()
	s.do(starting(id))
	s.wait(6 * time.Minute).do(finishing(&jobv1.FinishStepRequest{Step: id}))
	if p := s.job().Progress[id]; p.Worked != 10*time.Minute || p.StartedAt != started {
		t.Errorf("done as %+v", p)
	}
}

// TestNoBayFits gives two operations of one way bays that exclude each other.
func TestNoBayFits(t *testing.T) {
	s := opened(t)
	plan, err := planFor(s.job(), loaded()[car], []string{"follower-4"})
	if err != nil {
		t.Fatal(err)
	}
	m := proto.CloneOf(loaded()[car].Message())
	m.Edition = 2
	kinds := []string{"pit", "flat"}
	for _, p := range plan.GetSteps() {
		for _, op := range m.GetOperations() {
			if p.GetKind() == jobv1.PlannedStep_KIND_TAKE_OFF && p.GetSource() == op.GetId() && len(kinds) > 0 {
				op.BayKinds, kinds = kinds[:1], kinds[1:]
			}
		}
	}
	events, _, err := importCatalogue(s.st, s.input(), &jobv1.ImportCatalogueRequest{Catalogue: m})
	if err != nil {
		t.Fatal(err)
	}
	s.commit(events)
	s.open(intake())
	_, err = s.tryAt("jobs/2", confirming("follower-4"))
	wantRefusal(t, err, "NO_BAY_FITS")
	s.do(confirming("follower-4")) // the first job is pinned to the edition that it was opened with
}

// TestTickedOffButNotThere takes off what only other designs have, and then sees
// which one it is: nothing puts it back, and its pieces are to be explained.
func TestTickedOffButNotThere(t *testing.T) {
	const rail = "oil-rail-off"
	s := ready(t, "valve-leaks")
	for next := s.job().nextStep(); next != nil && !slices.Contains(s.job().Car.Off, rail); next = s.job().nextStep() {
		s.step(next.GetId())
	}
	wantNames(t, s.do(design("carrier")), "FindingReported DesignFound PlanRevised")
	if s.job().step("refit."+rail) != nil {
		t.Error("the rail that is not there goes back on")
	}
	if !strings.Contains(s.unmetTypes(), "PIECE_UNACCOUNTED") {
		t.Errorf("unmet: %s", s.unmetTypes())
	}
	s.do(design("bar")) // it was a mistake: there it is again
	if s.job().step("refit."+rail) == nil {
		t.Error("the rail stays off")
	}
}
