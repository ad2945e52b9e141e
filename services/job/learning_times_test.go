package job

import (
	"math"
	"reflect"
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/durationpb"

	"ramprow/internal/engine/teardown/effort"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// What a closed job's steps took moves the times of the next plan, by the conjugate normal-gamma rule (Gelman et al.,
// Bayesian Data Analysis, section 3.3): the log-median is (k mu + log t) / (k + 1) after one time t that counts as one
// against k. Struck out, plans are as before to the second; restored and from a snapshot, as they were.
func TestPostedTimesMovePlans(t *testing.T) {
	s := proved(t, "coil-4")
	c := loaded()[car]
	if _, err := s.close(job1); err != nil {
		t.Fatal(err)
	}
	made := s.st.lessons.Cases[job1]
	if len(made.GetTimes()) == 0 {
		t.Fatal("no step taught a time")
	}
	var ratios, count float64
	for _, time := range made.GetTimes() {
		ratios += math.Log(time.GetWorked().AsDuration().Minutes() / time.GetExpected().AsDuration().Minutes())
		count++
	}
	pace := math.Exp(ratios / (count + 10)) // all by one person; 10 is the weight of everybody's pace
	sheet := s.st.times[car]
	written := map[string]effort.ThreePoint{}
	c.WithTimes(func(work string, e effort.ThreePoint) effort.ThreePoint {
		written[work] = e
		return e
	}).AllWork()
	for _, time := range made.GetTimes() {
		before := written[time.GetWork()].LogNormal()
		want := (catalogueTimes*before.Mu + math.Log(time.GetWorked().AsDuration().Minutes()/pace)) / (catalogueTimes + 1)
		if effort.BeliefFrom(written[time.GetWork()], catalogueTimes).ObserveLogs(sheet.posted(time.GetWork())).Predict().Sigma > .7 {
			continue // so wide that three points hold its mean alone
		}
		if got := sheet.estimate(time.GetWork(), written[time.GetWork()]).LogNormal(); math.Abs(got.Mu-want) > 1e-9 {
			t.Errorf("%s: the log-median is %v, want %v", time.GetWork(), got.Mu, want)
		}
	}
	moved := func() bool {
		t.Helper()
		timed, err := s.st.edition(car)
		if err != nil {
			t.Fatal(err)
		}
		plan, err := planFor(s.job().undone([]string{"coil-4"}), timed, []string{"coil-4"})
		if err != nil {
			t.Fatal(err)
		}
		written, err := planFor(s.job().undone([]string{"coil-4"}), c, []string{"coil-4"})
		if err != nil {
			t.Fatal(err)
		}
		return plan.GetEffort().GetMean().AsDuration() != written.GetEffort().GetMean().AsDuration()
	}
	if !moved() {
		t.Error("the plan does not go by the learned times")
	}
	for _, struck := range []bool{true, false} {
		events, err := striking(s, struck)
		if err != nil {
			t.Fatal(err)
		}
		s.commit(events)
		if moved() == struck {
			t.Errorf("struck out %v, and the plan moved %v", struck, moved())
		}
	}
	if !reflect.DeepEqual(s.st.times[car], sheet) {
		t.Error("restored, the times are not what they were")
	}
	data, err := snapshot(s.st)()
	if err != nil {
		t.Fatal(err)
	}
	restored, err := restore("north", data)
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(restored.times, s.st.times) {
		t.Error("from a snapshot, the times are others")
	}
	shown := sheet.learnedTimes(c)
	if len(shown.GetTimes()) != len(sheet.work) || len(shown.GetPaces()) != 1 || math.Abs(shown.GetPaces()[0].GetFactor()-pace) > 1e-9 {
		t.Errorf("shown is %v", shown)
	}
}

// What was freed for longer because it was seized says nothing about the next car.
func TestSeizedWorkTeachesNoTime(t *testing.T) {
	s := proved(t, "coil-4")
	j := s.job().clone()
	taught := len(j.timesTaken())
	for _, step := range j.Plan.GetSteps() {
		if step.GetKind() == jobv1.PlannedStep_KIND_TAKE_OFF {
			j.Plan.Way = &jobv1.Way{Delays: []*jobv1.Delay{{Operation: step.GetSource()}}}
			break
		}
	}
	if now := len(j.timesTaken()); now >= taught {
		t.Errorf("%d times are taught with something seized, %d without", now, taught)
	}
}

// Times are kept of the newest cases alone, and cases are bounded: what a site has learned does not grow for ever.
func TestLessonsAreBounded(t *testing.T) {
	l := &lessons{Cases: map[string]*jobv1.Case{}}
	sheets := timesheets{}
	for i := range maxCases + 3*casesDropped + 70 {
		name := jobName(uint64(i + 1))
		c := &jobv1.Case{Job: name, Catalogue: car, Times: []*jobv1.CaseTime{{Work: "open.x", Worked: minutes(float64(1 + i%7)), Expected: minutes(3), By: "tomas"}}}
		l.Cases[name] = c
		l.Order = append(l.Order, name)
		sheets.sumUp(c)
		if l.forget() {
			sheets = sumUp(l)
		}
		timed := 0
		for _, name := range l.Order {
			if len(l.Cases[name].GetTimes()) > 0 {
				timed++
			}
		}
		if timed >= timedCases+timesDropped || timed < min(i+1, timedCases) || len(l.Order) >= maxCases+casesDropped || len(l.Cases) != len(l.Order) {
			t.Fatalf("after %d cases %d of %d have times, and %d are in order", i+1, timed, len(l.Cases), len(l.Order))
		}
		if got := sheets[car].work["open.x"]["tomas"].Count; got != float64(timed) {
			t.Fatalf("after %d cases %v times are summed up, and %d kept", i+1, got, timed)
		}
	}
	if len(l.Cases[l.Order[0]].GetTimes()) != 0 || !reflect.DeepEqual(sheets, sumUp(l)) {
		t.Error("the sums are not the fold of what is kept")
	}
}

// A step that was ticked off in a blink, or whose clock ran over the weekend, says nothing of the work.
func TestImplausibleTimesTeachNothing(t *testing.T) {
	posted := func(worked time.Duration) *jobv1.CaseTime {
		return &jobv1.CaseTime{Work: "coil-out", By: "people/ada", Worked: durationpb.New(worked), Expected: durationpb.New(10 * time.Minute)}
	}
	sheets := timesheets{}
	sheets.sumUp(&jobv1.Case{Catalogue: car, Times: []*jobv1.CaseTime{
		posted(2 * time.Second), posted(29 * time.Second), posted(time.Minute), posted(200 * time.Minute), posted(60 * time.Hour),
	}})
	if got := sheets[car].work["coil-out"]["people/ada"].Count; got != 2 {
		t.Errorf("%v times count, want those of a minute and of 200 minutes", got)
	}
	if got := sheets[car].paces["people/ada"].Count; got != 2 {
		t.Errorf("%v times are in the pace, want 2", got)
	}
}
