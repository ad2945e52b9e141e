package job

import (
	"maps"
	"slices"
	"time"

	jobv1 "ramprow/proto/ramprow/job/v1"
)

// Job is one visit of a car. The messages it holds come from events and are
// never changed: evolve replaces them. So a copy of the struct, its slices and
// its map is a copy of the job.
type Job struct {
	Name         string
	Number       uint64
	Vehicle      *jobv1.Vehicle
	Customer     *jobv1.Customer
	Complaint    string
	ExpectedAt   time.Time // zero: the car is here
	WantedBy     time.Time // zero: no wish
	Priority     uint32
	Version      string // catalogue edition that it is pinned to
	Received     bool
	Reports      []*jobv1.CodeReport
	Symptoms     []*jobv1.SymptomNote
	Tests        []*jobv1.TestRecord
	Causes       []string
	Plan         *jobv1.Plan
	DoneBefore   []string            // steps that were done when the plan was made; its effort is of the others
	Progress     map[string]Progress // by step
	Order        []string            // steps in the order in which they were first started
	Findings     []*jobv1.Finding
	Stowed       []*jobv1.Stowed
	Debris       []*jobv1.Debris
	Tools        []*jobv1.ToolOnCar
	Authorised   []*jobv1.Authorisation
	Asked        *jobv1.AuthorityAsk // the last question beyond what was authorised
	Parts        *jobv1.PartsStatus
	Booking      *jobv1.BookingStatus
	Audit        *jobv1.AuditStatus
	RoadTests    []*jobv1.RoadTest
	ClearedAt    time.Time
	FinishedAt   time.Time        // last planned step done
	Invoice      *jobv1.Invoice   // the first of Invoices
	Invoices     []*jobv1.Invoice // one for each payer, and those issued anew
	CreditNotes  []*jobv1.CreditNoteIssued
	Paid         map[string]int64 // by invoice number
	Billing      *jobv1.Billing   // nil: labour as agreed, the customer pays
	Advances     []*jobv1.Advance
	Lookback     *jobv1.Lookback           // outcome of an audit that was re-opened after closing
	Erased       *jobv1.PersonalDataErased // nil: nobody asked to be forgotten
	CancelReason string
	Cancelled    bool
	OpenedAt     time.Time
	UpdatedAt    time.Time
	TraceID      string
	Car          Car
	History      []*jobv1.HistoryEntry
}

// Car is how the car stands: what a replan starts from.
type Car struct {
	// Off are the catalogue operations that are done and not yet refitted, in order.
	Off []string
	// States that the car is in, in the order in which they were entered.
	States []string
	// Repaired causes.
	Repaired []string
}

// Progress is how far a step is.
type Progress struct {
	State     jobv1.StepState
	StartedAt time.Time // of the first start
	RunningAt time.Time // zero while it does not run
	DoneAt    time.Time
	Worked    time.Duration
	By        string
	Note      string
}

// workedUntil is the hands-on time up to a moment.
func (p Progress) workedUntil(at time.Time) time.Duration {
	if p.RunningAt.IsZero() {
		return p.Worked
	}
	return p.Worked + max(0, at.Sub(p.RunningAt))
}

// clone gives a job that can be evolved without the first one noticing.
func (j *Job) clone() *Job {
	c := *j
	c.Reports = slices.Clone(j.Reports)
	c.Symptoms = slices.Clone(j.Symptoms)
	c.Tests = slices.Clone(j.Tests)
	c.Progress = maps.Clone(j.Progress)
	c.Order = slices.Clone(j.Order)
	c.Findings = slices.Clone(j.Findings)
	c.Stowed = slices.Clone(j.Stowed)
	c.Debris = slices.Clone(j.Debris)
	c.Tools = slices.Clone(j.Tools)
	c.Authorised = slices.Clone(j.Authorised)
	c.RoadTests = slices.Clone(j.RoadTests)
	c.Invoices = slices.Clone(j.Invoices)
	c.CreditNotes = slices.Clone(j.CreditNotes)
	c.Paid = maps.Clone(j.Paid)
	c.Advances = slices.Clone(j.Advances)
	c.History = slices.Clone(j.History)
	c.Car = Car{
		Off:      slices.Clone(j.Car.Off),
		States:   slices.Clone(j.Car.States),
		Repaired: slices.Clone(j.Car.Repaired),
	}
	return &c
}

// finished reports whether nothing more can happen to the job but a payment.
func (j *Job) finished() bool { return j.Cancelled || j.Invoice != nil }

// stage is where the job stands. It follows from the rest and is not kept.
func (j *Job) stage() jobv1.JobState {
	switch {
	case j.Cancelled:
		return jobv1.JobState_JOB_STATE_CANCELLED
	case j.Invoice != nil:
		return jobv1.JobState_JOB_STATE_CLOSED
	case j.Plan == nil:
		return jobv1.JobState_JOB_STATE_OPENED
	case j.allDone():
		return jobv1.JobState_JOB_STATE_PROVING
	case len(j.Progress) > 0:
		return jobv1.JobState_JOB_STATE_IN_WORK
	case j.authorised() < j.estimate():
		return jobv1.JobState_JOB_STATE_AWAITING_AUTHORITY
	}
	return jobv1.JobState_JOB_STATE_READY
}

// step finds a planned step.
func (j *Job) step(id string) *jobv1.PlannedStep {
	for _, s := range j.Plan.GetSteps() {
		if s.GetId() == id {
			return s
		}
	}
	return nil
}

func (j *Job) stepDone(id string) bool {
	return j.Progress[id].State == jobv1.StepState_STEP_STATE_DONE
}

// allDone reports whether every planned step is done.
func (j *Job) allDone() bool {
	if j.Plan == nil {
		return false
	}
	return !slices.ContainsFunc(j.Plan.GetSteps(), func(s *jobv1.PlannedStep) bool { return !j.stepDone(s.GetId()) })
}

// nextStep is the step at work, or the first one that could be begun; nil if none is left.
func (j *Job) nextStep() *jobv1.PlannedStep {
	var ready *jobv1.PlannedStep
	for _, s := range j.Plan.GetSteps() {
		switch j.Progress[s.GetId()].State {
		case jobv1.StepState_STEP_STATE_STARTED, jobv1.StepState_STEP_STATE_PAUSED:
			return s
		case jobv1.StepState_STEP_STATE_DONE:
			continue
		default:
		}
		if ready == nil && len(j.missing(s)) == 0 {
			ready = s
		}
	}
	return ready
}

// missing lists the steps before this one that are not done.
func (j *Job) missing(s *jobv1.PlannedStep) []string {
	var open []string
	for _, before := range s.GetAfter() {
		if !j.stepDone(before) {
			open = append(open, before)
		}
	}
	return open
}

// authorised is the highest amount that the customer has agreed to, in minor units.
func (j *Job) authorised() int64 {
	var most int64
	for _, a := range j.Authorised {
		most = max(most, a.GetUpTo().GetMinorUnits())
	}
	return most
}

// estimate is what the plan costs without tax, in minor units.
func (j *Job) estimate() int64 {
	return j.Plan.GetLabourEstimate().GetMinorUnits() + j.Plan.GetPartsEstimate().GetMinorUnits()
}

func (j *Job) currency() string { return j.Plan.GetLabourEstimate().GetCurrencyCode() }
