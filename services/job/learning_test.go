package job

import (
	"math"
	"testing"

	"google.golang.org/protobuf/proto"

	jobv1 "ramprow/proto/ramprow/job/v1"
)

func rateOf(t *testing.T, s *site, cause string) *jobv1.Rate {
	t.Helper()
	r, err := rates(loaded()[car], s.st.lessons.of(car), true)
	if err != nil {
		t.Fatal(err)
	}
	for _, rate := range r.GetRates() {
		if rate.GetKind() == jobv1.Rate_KIND_CAUSE && rate.GetCause() == cause {
			return rate
		}
	}
	t.Fatalf("no rate of %s", cause)
	return nil
}

func striking(s *site, struck bool) ([]proto.Message, error) {
	if struck {
		return strikeCase(s.st, &jobv1.StrikeCaseRequest{Job: job1, Reason: "it came back"})
	}
	return restoreCase(s.st, &jobv1.RestoreCaseRequest{Job: job1, Reason: "it was another fault"})
}

// A closed job moves its cause's rate as the Beta-Binomial rule says: (p w + 1) / (w + 1) with it, p w / (w + 1) without.
// Struck out, everything is as the catalogue has it, and restored as it was; a snapshot keeps it.
func TestFinishedJobsTeach(t *testing.T) {
	s := proved(t, "coil-4")
	if r := rateOf(t, s, "coil-4"); r.GetCases() != 0 || r.GetLearned() != r.GetPrior() {
		t.Errorf("before any job is closed: %v", r)
	}
	if _, err := s.close(job1); err != nil {
		t.Fatal(err)
	}
	check := func(when string, cases, with float64) {
		t.Helper()
		for cause, found := range map[string]float64{"coil-4": with, "plug-1": 0} {
			r := rateOf(t, s, cause)
			want := (r.GetPrior()*catalogueCases + found) / (catalogueCases + cases)
			if math.Abs(r.GetLearned()-want) > 1e-12 || float64(r.GetCases()) != cases || float64(r.GetWith()) != found {
				t.Errorf("%s: %s is %v, want %v", when, cause, r, want)
			}
		}
	}
	check("closed", 1, 1)
	d, err := (&diagnosers{}).of(s.job(), loaded()[car], s.st.lessons.of(car))
	if err != nil {
		t.Fatal(err)
	}
	plain, err := (&diagnosers{}).of(s.job(), loaded()[car], taught{})
	if err != nil {
		t.Fatal(err)
	}
	for i, cause := range d.car.Model.Causes {
		if learned := cause.Prior > plain.car.Model.Causes[i].Prior; learned != (cause.ID == "coil-4") {
			t.Errorf("%s: %v was %v", cause.ID, cause.Prior, plain.car.Model.Causes[i].Prior)
		}
	}
	_, err = striking(s, false)
	wantRefusal(t, err, "CASE_COUNTS")
	for _, struck := range []bool{true, false} {
		events, err := striking(s, struck)
		if err != nil {
			t.Fatal(err)
		}
		s.commit(events)
		if struck {
			check("struck", 0, 0)
			_, err = striking(s, true)
			wantRefusal(t, err, "CASE_STRUCK")
		} else {
			check("restored", 1, 1)
		}
	}
	data, err := snapshot(s.st)()
	if err != nil {
		t.Fatal(err)
	}
	if s.st, err = restore("north", data); err != nil {
		t.Fatal(err)
	}
	check("from a snapshot", 1, 1)
	_, err = strikeCase(s.st, &jobv1.StrikeCaseRequest{Job: "jobs/9", Reason: "x"})
	wantRefusal(t, err, "CASE_NOT_FOUND")
}
