package job

import (
	"fmt"
	"maps"
	"slices"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	"ramprow/internal/catalogue"
	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	torqueauditv1 "ramprow/proto/ramprow/torque_audit/v1"
)

// TestAnythingAtAnyTime throws commands and news at two jobs of one site, sane
// and mad, and has the oracle read the log. The first job is helped along, so
// that many runs come to an invoice.
func TestAnythingAtAnyTime(t *testing.T) {
	invoices := 0
	rapid.Check(t, func(r *rapid.T) {
		s := newSite(r)
		s.open(intake())
		s.open(intake())
		for range rapid.IntRange(20, 100).Draw(r, "steps") {
			s.wait(time.Minute)
			name := rapid.SampledFrom([]string{"jobs/1", "jobs/1", "jobs/1", "jobs/2"}).Draw(r, "job")
			before := s.st.jobs[name]
			shown := depict(before)
			probe := before.clone()
			at := len(s.log)
			anything(r, s, name)
			after := depict(before)
			for _, e := range s.log[at:] {
				probe.apply(e.Message, happening{at: e.Time, by: "ada", commit: e.Number})
			}
			if got := depict(probe); got != after {
				r.Fatalf("the copy went another way:\n%s\n%s", got, after)
			}
			if at == len(s.log) && shown != after {
				r.Fatalf("nothing happened, and the job is another:\n%s\n%s", shown, after)
			}
		}
		if wrong := audit(s.log); wrong != "" {
			r.Fatal(wrong)
		}
		if s.job().Invoice != nil {
			invoices++
		}
	})
	if !testing.Short() && invoices == 0 {
		t.Error("no run came to an invoice, so nothing was shown")
	}
}

// depict is equal for jobs of which everything is equal.
func depict(j *Job) string {
	whole, err := proto.MarshalOptions{Deterministic: true}.Marshal(j.resource())
	if err != nil {
		return err.Error()
	}
	return fmt.Sprint(string(whole), j.Car, j.Progress, j.Order, j.FinishedAt, len(j.History))
}

// TestCloneKeepsApart evolves a copy by everything that happens to a job and
// watches the original: pointers, counts and contents.
func TestCloneKeepsApart(t *testing.T) {
	s := proved(t, "follower-4")
	j := openedJob(s.log[2].Message.(*jobv1.JobOpened), happening{at: monday})
	for _, e := range s.log[3:] {
		original := proto.CloneOf(j.resource())
		car, progress, story := fmt.Sprint(j.Car), maps.Clone(j.Progress), len(j.History)
		copied := j.clone()
		copied.apply(e.Message, happening{at: e.Time})
		if !proto.Equal(original, j.resource()) || car != fmt.Sprint(j.Car) || !maps.Equal(progress, j.Progress) || story != len(j.History) {
			t.Fatalf("%T at a copy changed the original", e.Message)
		}
		j = copied
	}
}

// anything does one thing at a job; refusals are part of it.
func anything(r *rapid.T, s *site, name string) {
	j := s.st.jobs[name]
	causes := rapid.SliceOfNDistinct(rapid.SampledFrom([]string{"coil-4", "plug-1", "follower-4", "ghost"}), 1, 2, rapid.ID)
	var decide decision
	switch rapid.IntRange(0, 30).Draw(r, "what") {
	case 0:
		decide = confirming(causes.Draw(r, "causes")...)
	case 1:
		decide = design(rapid.SampledFrom([]string{"bar", "carrier", "strip"}).Draw(r, "design"))
	case 2:
		decide = authorising(rapid.Int64Range(0, 200_000).Draw(r, "up to"))
	case 3:
		if rapid.IntRange(0, 9).Draw(r, "really") == 0 {
			decide = func(j *Job, _ *catalogue.Catalogue, _ sitelog.Input) ([]proto.Message, error) {
				return cancel(j, &jobv1.CancelJobRequest{Reason: "sold"})
			}
		}
	case 4:
		decide = reading(rapid.SampledFrom([]jobv1.ReadingMoment{1, 2, 3}).Draw(r, "moment"), &jobv1.CodeReading{Code: "P0304"})
	case 5:
		decide = driving(rapid.Bool().Draw(r, "passed"))
	case 6:
		decide = finding(&jobv1.ReportFindingRequest{Kind: brokenUp, Piece: "coils", PiecesMissing: 1})
	case 7:
		decide = settling(&jobv1.SettleDebrisRequest{Finding: "f1", Found: rapid.Uint32Range(0, 2).Draw(r, "found")})
	case 8:
		if len(j.Stowed) > 0 {
			decide = explaining(rapid.SampledFrom(j.Stowed).Draw(r, "piece").GetPiece(), rapid.Uint32Range(1, 2).Draw(r, "count"))
		}
	case 9:
		if j.Plan != nil {
			decide = starting(rapid.SampledFrom(j.Plan.GetSteps()).Draw(r, "step").GetId())
		}
	case 10, 11:
		news(r, s, j)
	case 12:
		_, _ = s.close(name)
	default:
		helpAlong(s, j)
	}
	if decide != nil {
		_, err := s.tryAt(name, decide)
		if err != nil && (fault.KindOf(err) == fault.Internal || fault.ReasonOf(err) == "") {
			r.Fatalf("not a refusal: %v", err)
		}
	}
}

// news is what other services may say, of any revision.
func news(r *rapid.T, s *site, j *Job) {
	m := rapid.SampledFrom(everything(j)).Draw(r, "news")
	if rapid.Bool().Draw(r, "stale") {
		switch m := m.(type) {
		case *inventoryv1.PartsIssued:
			m.Hold.PlanRevision = j.Plan.GetRevision() - min(1, j.Plan.GetRevision())
		case *torqueauditv1.SheetCompleted:
			m.PlanRevision = j.Plan.GetRevision() - min(1, j.Plan.GetRevision())
		}
	}
	s.hear(m)
}

// helpAlong does what is needed most to come nearer to the invoice.
func helpAlong(s *site, j *Job) {
	if j.finished() {
		return
	}
	for _, u := range j.unmet() {
		helpWith(s, j, u)
	}
	_, _ = s.close(j.Name)
}

// helpWith meets one condition.
func helpWith(s *site, j *Job, u *jobv1.UnmetCondition) {
	try := func(d decision) { _, _ = s.wait(time.Second).tryAt(j.Name, d) }
	switch u.GetType() {
	case "DIAGNOSIS_MISSING":
		try(confirming("coil-4"))
	case "AUTHORITY_SHORT":
		try(authorising(j.estimate()))
	case "PARTS_OPEN", "PARTS_NOT_RETURNED":
		s.hear(&inventoryv1.PartsIssued{Hold: holdOf(j, issued)})
	case "STEPS_OPEN":
		workOn(s, j)
	case "AUDIT_INCOMPLETE":
		s.hear(&torqueauditv1.SheetCompleted{Job: j.Name, PlanRevision: j.Plan.GetRevision(), Joints: 1})
	case "CODES_NOT_CLEARED":
		try(clearing)
	case "PIECE_UNACCOUNTED":
		try(explaining(u.GetSubject(), 1))
	case "DEBRIS_OPEN":
		for _, d := range j.Debris {
			try(settling(&jobv1.SettleDebrisRequest{Finding: d.GetFinding(), Found: 1}))
		}
	case "ROAD_TEST_MISSING", "ROAD_TEST_FAILED":
		try(driving(true))
	default:
		try(reading(afterClearing))
		try(reading(afterDrive))
	}
}

// workOn begins or ends the next steps, with all that they need.
func workOn(s *site, j *Job) {
	for range 4 {
		next := j.nextStep()
		if next == nil || s.st.jobs[j.Name].finished() {
			return
		}
		if !j.booked() {
			s.hear(bookingMade(j))
		}
		if len(j.undecided(next)) > 0 {
			_, _ = s.tryAt(j.Name, design("bar"))
		}
		if !j.issued(next.GetPartLines()) {
			s.hear(&inventoryv1.PartsIssued{Hold: holdOf(j, issued)})
		}
		for _, d := range []decision{
			starting(next.GetId()), func(j *Job, _ *catalogue.Catalogue, _ sitelog.Input) ([]proto.Message, error) {
				return resumeStep(j, &jobv1.ResumeStepRequest{Step: next.GetId()})
			}, finishing(&jobv1.FinishStepRequest{Step: next.GetId()}),
		} {
			_, _ = s.tryAt(j.Name, d)
		}
	}
}

// TestReplayIsTheState folds a log again and compares.
func TestReplayIsTheState(t *testing.T) {
	s := proved(t, "follower-4")
	again := newState("north")
	for _, e := range s.log {
		evolve(again, e)
	}
	if got, want := again.jobs[job1], s.job(); depict(got) == "" || !proto.Equal(got.resource(), want.resource()) ||
		!slices.EqualFunc(got.History, want.History, func(a, b *jobv1.HistoryEntry) bool { return proto.Equal(a, b) }) {
		t.Error("the same log gives another job")
	}
}
