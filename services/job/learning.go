package job

import (
	"cmp"
	"slices"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/catalogue"
	"ramprow/internal/engine/diagnosis"
	"ramprow/internal/platform/fault"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// catalogueCases is how many of the site's own cases the catalogue's numbers weigh as much as. Judgement, no source.
const catalogueCases = 50

// maxCases is how many cases a site keeps at least: the newest. What is older taught of cars that hardly come any more,
// and goes casesDropped at a time.
const (
	maxCases     = 5000
	casesDropped = 500 // a multiple of timesDropped
)

// timedCases is how many of the newest cases teach how long work takes, at least; the times of older ones go timesDropped
// cases at a time. They are most of a case's size, and hands and tools change faster than faults do.
const (
	timedCases   = 500
	timesDropped = 100
)

// lessons is what the finished jobs of a site teach. The zero value is empty.
type lessons struct {
	// Cases by job, and their jobs in the order in which they came.
	Cases map[string]*jobv1.Case
	Order []string
	// Revision grows with every change, so that what was computed from the lessons can be told to be old.
	Revision uint64
}

// learn makes a case of a job when it is closed, unless it is one already. A job that repaired nothing teaches nothing.
func (s *State) learn(name string, h happening) {
	j, ok := s.jobs[name]
	if !ok || len(j.Car.Repaired) == 0 || s.lessons.Cases[name] != nil {
		return
	}
	c, err := s.edition(j.Version)
	if err != nil {
		return
	}
	made := &jobv1.Case{Job: name, Catalogue: c.Message().GetId(), Found: slices.Sorted(slices.Values(j.Car.Repaired)), At: timestamppb.New(h.at)}
	for _, o := range j.evidence(c).Observations {
		made.Observations = append(made.Observations, &jobv1.CaseObservation{Of: o.Of, Present: o.Present})
	}
	made.Times = j.timesTaken()
	if s.lessons.Cases == nil {
		s.lessons.Cases = map[string]*jobv1.Case{}
	}
	s.lessons.Cases[name] = made
	s.lessons.Order = append(s.lessons.Order, name)
	s.times.sumUp(made)
	s.lessons.Revision++
	if s.lessons.forget() {
		s.times = sumUp(&s.lessons)
	}
}

// forget drops what is too old to be kept, and says whether it did.
func (l *lessons) forget() bool {
	timeless := len(l.Order) - timedCases
	if timeless <= 0 || timeless%timesDropped != 0 {
		return false
	}
	for _, name := range l.Order[max(0, timeless-timesDropped):timeless] {
		now := proto.CloneOf(l.Cases[name])
		now.Times = nil
		l.Cases[name] = now
	}
	if len(l.Order) >= maxCases+casesDropped {
		for _, old := range l.Order[:casesDropped] {
			delete(l.Cases, old)
		}
		l.Order = slices.Delete(l.Order, 0, casesDropped)
	}
	return true
}

// mark strikes a case out or restores it.
func (l *lessons) mark(name string, struck bool, reason string, h happening) {
	before, ok := l.Cases[name]
	if !ok {
		return
	}
	now := proto.CloneOf(before)
	now.Struck, now.Reason, now.By = struck, reason, h.by
	l.Cases[name] = now
	l.Revision++
}

// find gives the case of a job.
func (l *lessons) find(job string) (*jobv1.Case, error) {
	if c, ok := l.Cases[job]; ok {
		return c, nil
	}
	return nil, fault.New(fault.NotFound, "CASE_NOT_FOUND",
		"%s is no case here: only jobs that repaired something and were closed are; 'ramprow job cases CATALOGUE' lists them", job).With("job", job)
}

func strikeCase(s *State, req *jobv1.StrikeCaseRequest) ([]proto.Message, error) {
	c, err := s.lessons.find(req.GetJob())
	if err != nil {
		return nil, err
	}
	if c.GetStruck() {
		return nil, fault.New(fault.Precondition, "CASE_STRUCK", "%s is struck out already: %s", req.GetJob(), c.GetReason())
	}
	return []proto.Message{&jobv1.CaseStruck{Case: req.GetJob(), Reason: req.GetReason()}}, nil
}

func restoreCase(s *State, req *jobv1.RestoreCaseRequest) ([]proto.Message, error) {
	c, err := s.lessons.find(req.GetJob())
	if err != nil {
		return nil, err
	}
	if !c.GetStruck() {
		return nil, fault.New(fault.Precondition, "CASE_COUNTS", "%s counts already", req.GetJob())
	}
	return []proto.Message{&jobv1.CaseRestored{Case: req.GetJob(), Reason: req.GetReason()}}, nil
}

// taught are the cases of one catalogue that count, and the revision that they are of.
type taught struct {
	revision uint64
	cases    []*jobv1.Case
}

func (l *lessons) of(catalogueID string) taught {
	t := taught{revision: l.Revision}
	for _, name := range l.Order {
		if c := l.Cases[name]; c.GetCatalogue() == catalogueID && !c.GetStruck() {
			t.cases = append(t.cases, c)
		}
	}
	return t
}

// casesFor gives cases as the engine counts them. One whose cause a car cannot have says nothing about that car.
func (t taught) casesFor(m diagnosis.Model) []diagnosis.Case {
	var cases []diagnosis.Case
	for _, c := range t.cases {
		made := diagnosis.Case{Found: c.GetFound()}
		foreign := slices.ContainsFunc(made.Found, func(id string) bool {
			return !slices.ContainsFunc(m.Causes, func(cause diagnosis.Cause) bool { return cause.ID == id })
		})
		if foreign {
			continue
		}
		for _, o := range c.GetObservations() {
			made.Observations = append(made.Observations, diagnosis.Observation{Of: o.GetOf(), Present: o.GetPresent()})
		}
		cases = append(cases, made)
	}
	return cases
}

// rates tells what the cases have moved, by the model of a car of which nothing is known and that has run nothing.
func rates(c *catalogue.Catalogue, t taught, all bool) (*jobv1.ListRatesResponse, error) {
	facts, err := c.Facts(nil, clock((*timestamppb.Timestamp)(nil)))
	if err != nil {
		return nil, err
	}
	car, err := c.DiagnosisModel(facts, 0)
	if err != nil {
		return nil, diagnosisFailed(err)
	}
	cases := t.casesFor(car.Model)
	prior, now := car.Model.Learn(nil, catalogueCases), car.Model.Learn(cases, catalogueCases)
	r := &jobv1.ListRatesResponse{Cases: uint32(len(cases)), PriorCases: catalogueCases} //nolint:gosec // at most maxCases
	add := func(kind jobv1.Rate_Kind, of, cause string, before, after diagnosis.Rate) {
		with := after.With - before.With
		count := with + after.Without - before.Without
		if count == 0 && !all {
			return
		}
		r.Rates = append(r.Rates, &jobv1.Rate{
			Kind: kind, Of: of, Cause: cause, Prior: before.Mean(), Learned: after.Mean(),
			Cases: uint32(count + .5), With: uint32(with + .5), // whole numbers that were added to fractions
		})
	}
	for id, rate := range now.Priors {
		add(jobv1.Rate_KIND_CAUSE, "", id, prior.Priors[id], rate)
	}
	for of, byCause := range now.Effects {
		for cause, rate := range byCause {
			add(jobv1.Rate_KIND_SHOWN, of, cause, prior.Effects[of][cause], rate)
		}
	}
	for of, rate := range now.Leaks {
		add(jobv1.Rate_KIND_FALSE_ALARM, of, "", prior.Leaks[of], rate)
	}
	slices.SortFunc(r.GetRates(), func(a, b *jobv1.Rate) int {
		return cmp.Or(cmp.Compare(a.GetKind(), b.GetKind()), cmp.Compare(b.GetWith(), a.GetWith()),
			cmp.Compare(a.GetOf(), b.GetOf()), cmp.Compare(a.GetCause(), b.GetCause()))
	})
	return r, nil
}
