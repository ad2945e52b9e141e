package job

import (
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/catalogue"
	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// unmetOf are the types of a refusal's unmet conditions.
func unmetOf(err error) string {
	f, ok := err.(*fault.Error) //nolint:errorlint // decisions give exactly this type
	if !ok {
		return ""
	}
	var types []string
	for _, u := range f.Unmet {
		types = append(types, u.Type)
	}
	return strings.Join(types, " ")
}

func TestWhatKeepsAStepFromBeginning(t *testing.T) {
	s := newSite(t)
	req := intake()
	req.ExpectedAt = timestamppb.New(monday.Add(time.Hour))
	s.open(req)
	_, err := s.try(starting("open.anything"))
	wantRefusal(t, err, "DIAGNOSIS_MISSING")
	s.do(confirming("follower-4"))
	first := s.job().nextStep().GetId()
	expect := func(step, want string) {
		t.Helper()
		_, err := s.try(starting(step))
		wantRefusal(t, err, "STEP_NOT_READY")
		if got := unmetOf(err); got != want {
			t.Fatalf("%s waits for %q, want %q", step, got, want)
		}
	}
	_, err = s.try(starting("open.nothing"))
	wantRefusal(t, err, "STEP_NOT_FOUND")
	expect(first, "AUTHORITY_SHORT VEHICLE_NOT_HERE BAY_NOT_BOOKED")
	s.do(authorising(10_000_00))
	expect(first, "VEHICLE_NOT_HERE BAY_NOT_BOOKED")
	s.do(func(j *Job, _ *catalogue.Catalogue, _ sitelog.Input) ([]proto.Message, error) {
		return receive(j, &jobv1.ReceiveVehicleRequest{})
	})
	expect(first, "BAY_NOT_BOOKED")
	s.book()
	wantNames(t, s.do(starting(first)), "StepStarted")
	repair := "repair.follower-4"
	expect(repair, "STEPS_BEFORE PARTS_NOT_ISSUED") // both designs of that spring take the same part
}

// TestDesignGatesTheStep has everything but the look that decides.
func TestDesignGatesTheStep(t *testing.T) {
	s := ready(t, "follower-4")
	undecided := func(p *jobv1.PlannedStep) bool { return len(s.job().undecided(p)) > 0 }
	for next := s.job().nextStep(); next != nil && !undecided(next); next = s.job().nextStep() {
		s.step(next.GetId())
	}
	next := s.job().nextStep()
	_, err := s.try(starting(next.GetId()))
	if got := unmetOf(err); got != "DESIGN_UNKNOWN" {
		t.Fatalf("%s waits for %q: %v", next.GetId(), got, err)
	}
	wantNames(t, s.do(design("bar")), "FindingReported DesignFound")
	wantNames(t, s.do(starting(next.GetId())), "StepStarted")
}

func TestStepStates(t *testing.T) {
	s := ready(t, "coil-4")
	id := s.job().nextStep().GetId()
	pausing := func(j *Job, _ *catalogue.Catalogue, in sitelog.Input) ([]proto.Message, error) {
		return pauseStep(j, in, &jobv1.PauseStepRequest{Step: id, Reason: "lunch"})
	}
	resuming := func(j *Job, _ *catalogue.Catalogue, _ sitelog.Input) ([]proto.Message, error) {
		return resumeStep(j, &jobv1.ResumeStepRequest{Step: id})
	}
	finish := finishing(&jobv1.FinishStepRequest{Step: id, Note: "easy"})
	refuse := func(reason string, decisions ...decision) {
		t.Helper()
		for _, d := range decisions {
			_, err := s.try(d)
			wantRefusal(t, err, reason)
		}
	}
	refuse("STEP_STATE", pausing, resuming, finish)
	if started := s.do(starting(id))[0].(*jobv1.StepStarted); !started.GetFirst() {
		t.Error("the first step is not called so")
	}
	wantNames(t, s.do(starting(id)), "") // begun already
	refuse("STEP_STATE", resuming)
	s.wait(7 * time.Minute).do(pausing)
	refuse("STEP_PAUSED", starting(id))
	refuse("STEP_STATE", pausing, finish)
	s.wait(time.Hour).do(resuming)
	s.wait(5 * time.Minute).do(finish)
	p := s.job().Progress[id]
	if p.Worked != 12*time.Minute || p.StartedAt != monday || p.DoneAt != monday.Add(72*time.Minute) || p.Note != "easy" || p.By != "ada" {
		t.Errorf("the step was kept as %+v", p)
	}
	refuse("STEP_DONE", starting(id))
	refuse("STEP_STATE", pausing, resuming, finish)
	second := s.job().nextStep().GetId()
	if m := s.do(starting(second))[0].(*jobv1.StepStarted); m.GetFirst() {
		t.Error("the second step is called the first")
	}
	s.do(finishing(&jobv1.FinishStepRequest{Step: second, Worked: durationpb.New(3 * time.Minute)}))
	if got := s.job().Progress[second].Worked; got != 3*time.Minute {
		t.Errorf("worked %s, told 3 min", got)
	}
}

// TestPiecesToolsAndTheEnd follows every thing through a whole job.
func TestPiecesToolsAndTheEnd(t *testing.T) {
	s := ready(t, "follower-4")
	events := map[string]int{}
	before := len(s.log)
	s.work(nil)
	for _, e := range s.log[before:] {
		events[names([]proto.Message{e.Message})]++
	}
	j := s.job()
	if !j.allDone() || events["WorkFinished"] != 1 || j.FinishedAt != s.now {
		t.Errorf("finished at %s, %v", j.FinishedAt, events)
	}
	if events["ToolPutOn"] == 0 || events["ToolPutOn"] != events["ToolTakenOff"] || len(j.Tools) != 0 {
		t.Errorf("tools: %v, on the car %v", events, j.Tools)
	}
	if len(j.Car.Off)+len(j.Car.States) != 0 || !slices.Equal(j.Car.Repaired, []string{"follower-4"}) {
		t.Errorf("the car stands as %+v", j.Car)
	}
	renewed := 0
	for _, p := range j.Stowed {
		if p.GetSettled() != p.GetCount() {
			t.Errorf("not back: %v", p)
		}
		if p.GetMustRenew() != (p.GetState() == jobv1.StowState_STOW_STATE_RENEWED) {
			t.Errorf("must be renewed or not, but: %v", p)
		}
		if p.GetMustRenew() {
			renewed++
		}
	}
	if renewed == 0 || len(j.Stowed) == renewed {
		t.Errorf("%d of %d renewed", renewed, len(j.Stowed))
	}
}

func TestTrayAndWhatIsLeft(t *testing.T) {
	s := ready(t, "coil-4")
	var next *jobv1.PlannedStep
	s.work(func(p *jobv1.PlannedStep) bool { next = p; return len(p.GetPieces()) > 0 })
	left := s.job().left().GetMean().AsDuration()
	s.do(starting(next.GetId()))
	done := s.do(finishing(&jobv1.FinishStepRequest{Step: next.GetId(), Tray: "red box"}))
	if tray := s.job().Stowed[0].GetTray(); tray != "red box" {
		t.Errorf("in tray %q", tray)
	}
	// All means of a plan's steps are known, so what is left falls by the step's share.
	told := done[0].(*jobv1.StepDone).GetLeft().GetMean().AsDuration()
	if told >= left || told != s.job().left().GetMean().AsDuration() {
		t.Errorf("left %s, then %s, now %s", left, told, s.job().left().GetMean().AsDuration())
	}
	s.work(nil)
	if left := s.job().left(); left.GetP80().AsDuration() != 0 {
		t.Errorf("all done, and %v left", left)
	}
	j := &Job{Name: "jobs/4294967295"}
	if name := trayName(j, &jobv1.PlannedStep{Source: strings.Repeat("x", 60)}); len(name) > maxTrayName || !strings.HasPrefix(name, "4294967295 x") {
		t.Errorf("tray %q", name)
	}
}
