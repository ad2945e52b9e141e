package job

import (
	"maps"
	"math"
	"slices"
	"time"

	"google.golang.org/protobuf/types/known/durationpb"

	"ramprow/internal/catalogue"
	"ramprow/internal/engine/teardown/effort"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// catalogueTimes is how many posted times the catalogue's estimate weighs as much as. Judgement, no source.
const catalogueTimes = 5

// plausible is how many times shorter or longer than expected a posted time may be. What is beyond was not taken at the
// car: a step was ticked off later, or a clock was left running. Judgement, no source.
const plausible = 20

// timesheet sums up what was posted of one family's cars. It never changes: adding to it makes another one.
type timesheet struct {
	// work gives the minutes posted for a piece of work, by person.
	work map[string]map[string]effort.Logs
	// paces gives everybody's posted over expected times.
	paces map[string]effort.Logs
}

// timesTaken are the steps of a job whose time teaches something: work with a time, and not the freeing of what was seized.
func (j *Job) timesTaken() []*jobv1.CaseTime {
	var taken []*jobv1.CaseTime
	for _, s := range j.Plan.GetSteps() {
		p := j.Progress[s.GetId()]
		expected := estimateOf(s.GetEffort())
		delayed := slices.ContainsFunc(j.Plan.GetWay().GetDelays(), func(d *jobv1.Delay) bool { return d.GetOperation() == s.GetSource() })
		if p.State != jobv1.StepState_STEP_STATE_DONE || p.Worked <= 0 || expected.Mean() <= 0 || delayed {
			continue
		}
		taken = append(taken, &jobv1.CaseTime{
			Work: baseOf(s.GetId()), Worked: durationpb.New(p.Worked), Expected: minutes(expected.LogNormal().Median()), By: p.By,
		})
	}
	return taken
}

// timesheets sum up the cases that count, by catalogue. They are the fold of them in their order, so whatever way a
// state was come by they are the same to the last digit.
type timesheets map[string]*timesheet

// sumUp adds a case to its family's sheet.
func (l timesheets) sumUp(c *jobv1.Case) {
	if c.GetStruck() || len(c.GetTimes()) == 0 {
		return
	}
	sheet := &timesheet{work: map[string]map[string]effort.Logs{}, paces: map[string]effort.Logs{}}
	if before := l[c.GetCatalogue()]; before != nil {
		sheet = &timesheet{work: maps.Clone(before.work), paces: maps.Clone(before.paces)}
	}
	for _, t := range c.GetTimes() {
		worked, expected := t.GetWorked().AsDuration().Minutes(), t.GetExpected().AsDuration().Minutes()
		if worked <= 0 || expected <= 0 || worked > plausible*expected || expected > plausible*worked {
			continue
		}
		byPerson := maps.Clone(sheet.work[t.GetWork()])
		if byPerson == nil {
			byPerson = map[string]effort.Logs{}
		}
		byPerson[t.GetBy()] = byPerson[t.GetBy()].Add(worked)
		sheet.work[t.GetWork()] = byPerson
		sheet.paces[t.GetBy()] = sheet.paces[t.GetBy()].Add(worked / expected)
	}
	l[c.GetCatalogue()] = sheet
}

// sumUp makes the sheets anew, as after a case was struck out.
func sumUp(l *lessons) timesheets {
	sheets := timesheets{}
	for _, name := range l.Order {
		sheets.sumUp(l.Cases[name])
	}
	return sheets
}

// timed is a catalogue with the times that its family's cases have taught.
func (l timesheets) timed(c *catalogue.Catalogue) *catalogue.Catalogue {
	if sheet := l[c.Message().GetId()]; sheet != nil {
		return c.WithTimes(sheet.estimate)
	}
	return c
}

// estimate is what a piece of work takes somebody of everybody's pace: the written estimate's log-normal, moved by
// what was posted. A slow person's times are divided by that person's pace, which shrinks towards 1.
func (t *timesheet) estimate(work string, written effort.ThreePoint) effort.ThreePoint {
	posted := t.posted(work)
	if posted.Count == 0 || written.Mean() <= 0 {
		return written
	}
	return effort.ThreePointFrom(effort.BeliefFrom(written, catalogueTimes).ObserveLogs(posted).Predict())
}

// posted are the minutes of a piece of work as everybody's pace would have them.
func (t *timesheet) posted(work string) effort.Logs {
	var all effort.Logs
	for _, person := range slices.Sorted(maps.Keys(t.work[work])) { // in order, so that the sum is the same everywhere
		all = all.Plus(t.work[work][person].Slower(effort.PaceFrom(t.paces[person]).Factor()))
	}
	return all
}

// learnedTimes tells of every piece of work of which something was posted.
func (t *timesheet) learnedTimes(c *catalogue.Catalogue) *jobv1.ListTimesResponse {
	r := &jobv1.ListTimesResponse{PriorTimes: catalogueTimes}
	if t == nil {
		return r
	}
	written := map[string]effort.ThreePoint{}
	c.WithTimes(func(work string, e effort.ThreePoint) effort.ThreePoint {
		written[work] = e
		return e
	}).AllWork()
	for _, work := range slices.Sorted(maps.Keys(t.work)) {
		e, known := written[work]
		if !known {
			continue // an earlier edition had it
		}
		r.Times = append(r.Times, &jobv1.LearnedTime{
			Work: work, Prior: minutes(e.LogNormal().Median()), Learned: minutes(t.estimate(work, e).LogNormal().Median()),
			Times: uint32(math.Round(t.posted(work).Count)),
		})
	}
	for _, person := range slices.Sorted(maps.Keys(t.paces)) {
		r.Paces = append(r.Paces, &jobv1.Pace{
			Person: person, Factor: effort.PaceFrom(t.paces[person]).Factor(), Times: uint32(math.Round(t.paces[person].Count)),
		})
	}
	return r
}

// estimateOf reads a step's effort back.
func estimateOf(e interface {
	GetOptimistic() *durationpb.Duration
	GetLikely() *durationpb.Duration
	GetPessimistic() *durationpb.Duration
},
) effort.ThreePoint {
	inMinutes := func(d *durationpb.Duration) float64 { return float64(d.AsDuration()) / float64(time.Minute) }
	return effort.ThreePoint{Optimistic: inMinutes(e.GetOptimistic()), Likely: inMinutes(e.GetLikely()), Pessimistic: inMinutes(e.GetPessimistic())}
}
