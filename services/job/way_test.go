package job

import (
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"

	"ramprow/internal/catalogue"
	"ramprow/internal/platform/sitelog"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// Two ways to the followers of the demo car: camshafts out by the book, or a spring lever as a short cut.
const (
	bookWay  = "followers-out-camshafts-out"
	shortWay = "followers-out-spring-lever"
)

func taking(req *jobv1.TakeWayRequest) decision {
	return func(j *Job, c *catalogue.Catalogue, in sitelog.Input) ([]proto.Message, error) {
		req.Reason = orElse(req.GetReason(), "it looked quicker")
		return takeWay(j, c, in, req)
	}
}

func through(ids ...string) *jobv1.TakeWayRequest {
	return &jobv1.TakeWayRequest{Way: &jobv1.Way{Through: ids}}
}

// opens lists the operations that a job's plan still opens, or has opened.
func opens(p *jobv1.Plan) []string {
	var ids []string
	for _, s := range p.GetSteps() {
		if s.GetKind() == jobv1.PlannedStep_KIND_TAKE_OFF {
			ids = append(ids, s.GetSource())
		}
	}
	return ids
}

func TestComparingWays(t *testing.T) {
	s := opened(t)
	list, err := compare(s.job(), loaded()[car], []string{"follower-4"})
	if err != nil {
		t.Fatal(err)
	}
	if len(list) < 2 || list[0].GetMore().AsDuration() != 0 {
		t.Fatalf("%d ways, the first %s more", len(list), list[0].GetMore().AsDuration())
	}
	for i, a := range list {
		if i > 0 && (a.GetMore().AsDuration() < list[i-1].GetMore().AsDuration() || len(a.GetOtherWork())+len(a.GetSparedWork()) == 0) {
			t.Errorf("%s: %s more, other work %v", a.GetWay().GetName(), a.GetMore().AsDuration(), a.GetOtherWork())
		}
		// Confirming an alternative gives the plan that was shown.
		chosen := opened(t)
		chosen.do(func(j *Job, c *catalogue.Catalogue, in sitelog.Input) ([]proto.Message, error) {
			return confirm(j, c, in, &jobv1.ConfirmDiagnosisRequest{Causes: []string{"follower-4"}, Way: a.GetWay()})
		})
		if got, want := opens(chosen.job().Plan), opens(a.GetPlan()); !slices.Equal(got, want) {
			t.Errorf("%s was shown as %v and became %v", a.GetWay().GetName(), want, got)
		}
		if a.GetPrice().GetMinorUnits() != chosen.job().estimate() {
			t.Errorf("%s was shown for %v and costs %d", a.GetWay().GetName(), a.GetPrice(), chosen.job().estimate())
		}
		short := slices.ContainsFunc(a.GetPlan().GetSteps(), func(p *jobv1.PlannedStep) bool { return p.GetRisk() != "" })
		if short != (len(a.GetRisks()) > 0) || a.GetWay().GetByTheBook() && short {
			t.Errorf("%s has the risks %v", a.GetWay().GetName(), a.GetRisks())
		}
	}
	s.do(confirming("follower-4"))
	if len(s.job().Plan.GetRejected()) == 0 || !strings.Contains(s.job().Plan.GetRejected()[0], "more") {
		t.Errorf("left aside: %q", s.job().Plan.GetRejected())
	}
}

// TestAnotherWayWasGone has the technician lever the followers out although the plan takes the camshafts out, or the other way round.
func TestAnotherWayWasGone(t *testing.T) {
	s := ready(t, "follower-4")
	mine, theirs := bookWay, shortWay
	if slices.Contains(opens(s.job().Plan), theirs) {
		mine, theirs = theirs, mine
	}
	_, err := s.try(taking(&jobv1.TakeWayRequest{Way: &jobv1.Way{Through: []string{theirs}}, Done: true, Worked: durationpb.New(time.Hour)}))
	wantRefusal(t, err, "WAY_NOT_OPEN")
	_, err = s.try(taking(&jobv1.TakeWayRequest{Way: &jobv1.Way{}, Done: true}))
	wantRefusal(t, err, "WAY_DONE_INCOMPLETE", "way.through")
	_, err = s.try(taking(&jobv1.TakeWayRequest{Way: &jobv1.Way{}}))
	wantRefusal(t, err, "WAY_UNCHANGED")
	_, err = s.try(taking(through("ghost")))
	wantRefusal(t, err, "UNKNOWN_OPERATION", "operation")
	_, err = s.try(taking(&jobv1.TakeWayRequest{Way: &jobv1.Way{Through: []string{shortWay}, ByTheBook: true}}))
	wantRefusal(t, err, "WAY_CONTRADICTS", "way")

	s.do(taking(through(theirs))) // what leads there is planned first
	if !slices.Contains(opens(s.job().Plan), theirs) || slices.Contains(opens(s.job().Plan), mine) {
		t.Fatalf("through %s the plan opens %v", theirs, opens(s.job().Plan))
	}
	s.issueAll()
	s.work(func(p *jobv1.PlannedStep) bool { return p.GetSource() == theirs })
	doneBefore := s.job().clone()
	events := s.do(taking(&jobv1.TakeWayRequest{Way: &jobv1.Way{Through: []string{theirs}}, Done: true, Worked: durationpb.New(time.Hour)}))
	if got := names(events); !strings.HasPrefix(got, "PlanRevised StepStarted StepDone") {
		t.Errorf("posted as %s", got)
	}
	if j := s.job(); !slices.Contains(j.Car.Off, theirs) || j.Progress["open."+theirs].Worked != time.Hour {
		t.Errorf("off: %v, worked %s", j.Car.Off, j.Progress["open."+theirs].Worked)
	}
	for id, p := range doneBefore.Progress {
		if p.State == jobv1.StepState_STEP_STATE_DONE && s.job().Progress[id] != p {
			t.Errorf("%s was done and is %+v", id, s.job().Progress[id])
		}
	}
	_, err = s.try(taking(&jobv1.TakeWayRequest{Way: &jobv1.Way{Through: []string{theirs}}, Done: true, Worked: durationpb.New(time.Hour)}))
	wantRefusal(t, err, "WAY_DONE_BEFORE")
	s.issueAll()
	s.work(nil)
	if j := s.job(); !j.allDone() || len(j.Car.Off)+len(j.Car.States) != 0 || strings.Contains(s.unmetTypes(), "PIECE") {
		t.Errorf("not together: %+v, %s", j.Car, s.unmetTypes())
	}
}

// TestSeized goes around what will not come where another way leads there, or keeps to it with the minutes more.
func TestSeized(t *testing.T) {
	s := ready(t, "follower-4")
	first := opens(s.job().Plan)
	at := slices.IndexFunc(first, func(id string) bool { return id == bookWay || id == shortWay })
	seizedStep := "open." + first[at]
	effort := s.job().step(seizedStep).GetEffort().GetLikely().AsDuration()
	s.do(finding(&jobv1.ReportFindingRequest{Kind: seized, Step: seizedStep, Note: "turns with the bolt", Extra: durationpb.New(2 * time.Minute)}))
	if now := s.job().step(seizedStep).GetEffort().GetLikely().AsDuration(); now != effort+2*time.Minute {
		t.Errorf("two minutes more make %s of %s", now, effort)
	}
	events := s.do(finding(&jobv1.ReportFindingRequest{Kind: seized, Step: seizedStep, Note: "it broke off"}))
	if !strings.HasPrefix(names(events), "FindingReported PlanRevised") || s.job().step(seizedStep) != nil {
		t.Errorf("%s; the plan opens %v", names(events), opens(s.job().Plan))
	}
	if w := s.job().Plan.GetWay(); !slices.Contains(w.GetWithout(), first[at]) || !strings.Contains(w.GetName(), "without") {
		t.Errorf("way %v", w)
	}
	// Another diagnosis does not unseize it.
	s.do(confirming("adjuster-collapsed", "follower-4"))
	if slices.Contains(opens(s.job().Plan), first[at]) {
		t.Errorf("the plan opens %v again", opens(s.job().Plan))
	}
	// The engine cover has no other way: the finding is kept and the plan stays.
	only := s.job().nextStep().GetId()
	for _, p := range s.job().Plan.GetSteps() {
		if p.GetSource() == "engine-cover-off" {
			only = p.GetId()
		}
	}
	wantNames(t, s.do(finding(&jobv1.ReportFindingRequest{Kind: seized, Step: only, Note: "clip broken"})), "FindingReported")
}

// TestRepeatedRepair wants the same repair once more, as when the new part is bad too.
func TestRepeatedRepair(t *testing.T) {
	s := proved(t, "coil-4")
	again := func(reason string, causes ...string) decision {
		return func(j *Job, c *catalogue.Catalogue, in sitelog.Input) ([]proto.Message, error) {
			return confirm(j, c, in, &jobv1.ConfirmDiagnosisRequest{Causes: []string{"coil-4"}, Again: causes, Reason: reason})
		}
	}
	_, err := s.try(again(""))
	wantRefusal(t, err, "DIAGNOSIS_UNCHANGED")
	if !strings.Contains(err.Error(), "--again coil-4") {
		t.Errorf("the refusal does not say how: %v", err)
	}
	_, err = s.try(again("it is bad", "plug-1"))
	wantRefusal(t, err, "REPAIR_NOT_DONE", "again")
	_, err = s.try(again("", "coil-4"))
	wantRefusal(t, err, "REASON_MISSING", "reason")
	before := s.job().clone()
	wantNames(t, s.do(again("the new coil is bad too", "coil-4")), "PlanRevised")
	if s.job().step("repair.coil-4.2") == nil || s.job().step("repair.coil-4") == nil {
		t.Error("the repair is not planned a second time beside the first")
	}
	if got, want := len(s.job().Plan.GetParts()), len(before.Plan.GetParts()); got <= want {
		t.Errorf("%d part lines, %d before", got, want)
	}
	s.issueAll()
	s.work(nil)
	if j := s.job(); !slices.Equal(j.Car.Repaired, []string{"coil-4"}) || !j.allDone() {
		t.Errorf("repaired %v", j.Car.Repaired)
	}
}

// TestAuthorityIsAskedAgain tells the customer's dispatcher when a plan outgrows the customer's word.
func TestAuthorityIsAskedAgain(t *testing.T) {
	s := opened(t)
	wantNames(t, s.do(confirming("coil-4")), "DiagnosisConfirmed")
	wantNames(t, s.do(confirming("coil-4", "plug-1")), "PlanRevised") // he was not asked yet
	s.do(authorising(s.job().estimate()))
	s.issueAll()
	s.book()
	events := s.do(confirming("coil-4", "follower-4", "plug-1"))
	wantNames(t, events, "PlanRevised AuthorityAsked")
	asked := events[1].(*jobv1.AuthorityAsked)
	if asked.GetEstimate().GetMinorUnits() != s.job().estimate() || asked.GetAuthorised().GetMinorUnits() != s.job().authorised() || asked.GetReason() == "" {
		t.Errorf("asked %v", asked)
	}
	if s.job().resource().GetAuthorityAsked() == nil {
		t.Error("nobody sees that he is to be asked")
	}
	_, err := s.try(starting(s.job().nextStep().GetId()))
	wantRefusal(t, err, "STEP_NOT_READY")
	s.do(authorising(s.job().estimate()))
	if s.job().resource().GetAuthorityAsked() != nil {
		t.Error("he agreed and is asked still")
	}
	s.issueAll()
	s.do(starting(s.job().nextStep().GetId()))
}
