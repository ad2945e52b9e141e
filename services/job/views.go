package job

import (
	"fmt"
	"math"
	"strings"

	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/platform/readmodel"
	"ramprow/internal/platform/sitelog"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// The rows that readers get.
const (
	modelJob     = "job"     // the whole job
	modelSummary = "summary" // a line of the list
	modelHistory = "history" // one event of one job
)

// The indexes of modelSummary and modelHistory.
const (
	indexAll  = "all"
	indexOpen = "open"
)

func indexState(s jobv1.JobState) string { return fmt.Sprintf("state:%d", s) }
func indexStory(job string) string       { return "job:" + job }

// Projection says what readers see of the state.
func Projection() readmodel.Projection[*State] {
	return readmodel.Projection[*State]{
		Version: 2,
		Machine: Machine(),
		Models:  []string{modelJob, modelSummary, modelHistory},
		Touched: touched,
		Row:     row,
		Keys:    keys,
		Archive: archive(),
	}
}

func touched(s *State, e sitelog.Event) []readmodel.Key {
	m, ok := e.Message.(ofJob)
	if !ok {
		return nil
	}
	j, ok := s.jobs[m.GetJob()]
	if !ok {
		return nil
	}
	rows := []readmodel.Key{{Model: modelJob, ID: j.Name}, {Model: modelSummary, ID: j.Name}}
	changed := len(j.History) - 1
	if _, erased := m.(*jobv1.PersonalDataErased); erased {
		changed = 0 // who the customer was stood anywhere in the story
	}
	for i := changed; i < len(j.History); i++ {
		rows = append(rows, storyKey(j.Name, i))
	}
	return rows
}

// jobOf gives the job that a row belongs to.
func jobOf(key readmodel.Key) string {
	name, _, _ := strings.Cut(key.ID, "#")
	return name
}

// listed says whose rows an index lists: one job's story, or jobs of which some
// are finished.
func listed(_ *State, model, index, _ string) (job string, archived bool) {
	if model == modelHistory {
		return strings.TrimPrefix(index, indexStory("")), false
	}
	return "", index == indexAll || index == indexState(jobv1.JobState_JOB_STATE_CLOSED) || index == indexState(jobv1.JobState_JOB_STATE_CANCELLED)
}

func storyKey(job string, index int) readmodel.Key {
	return readmodel.Key{Model: modelHistory, ID: fmt.Sprintf("%s#%06d", job, index)}
}

func row(s *State, key readmodel.Key) (readmodel.Row, bool) {
	name, index, isStory := strings.Cut(key.ID, "#")
	j, ok := s.jobs[name]
	if !ok {
		return readmodel.Row{}, false
	}
	switch key.Model {
	case modelJob:
		return readmodel.Row{Value: j.resource()}, true
	case modelSummary:
		return readmodel.Row{Value: j.summary(s), Index: j.indexes()}, true
	case modelHistory:
		var i int
		if _, err := fmt.Sscanf(index, "%d", &i); err != nil || !isStory || i >= len(j.History) {
			return readmodel.Row{}, false
		}
		return readmodel.Row{Value: j.History[i], Index: []readmodel.IndexEntry{{Name: indexStory(name), Order: index}}}, true
	}
	return readmodel.Row{}, false
}

func keys(s *State, model string) []readmodel.Key {
	var all []readmodel.Key
	for name, j := range s.jobs {
		if model != modelHistory {
			all = append(all, readmodel.Key{Model: model, ID: name})
			continue
		}
		for i := range j.History {
			all = append(all, storyKey(name, i))
		}
	}
	return all
}

// indexes lists the newest first: the order falls as the number rises.
func (j *Job) indexes() []readmodel.IndexEntry {
	order := fmt.Sprintf("%020d", math.MaxUint64-j.Number)
	entries := []readmodel.IndexEntry{{Name: indexAll, Order: order}, {Name: indexState(j.stage()), Order: order}}
	if !j.finished() || j.lookbackOpen() {
		entries = append(entries, readmodel.IndexEntry{Name: indexOpen, Order: order})
	}
	return entries
}

func (j *Job) summary(s *State) *jobv1.JobSummary {
	sum := &jobv1.JobSummary{
		Name: j.Name, State: j.stage(), Plate: j.Vehicle.GetPlate(), Customer: j.Customer.GetName(), Complaint: j.Complaint,
		WaitingFor: j.waitingFor(), Booked: j.Booking.GetWhen(), Bay: j.Booking.GetBay(), Technician: j.Booking.GetTechnician(),
		OpenedAt: timestamppb.New(j.OpenedAt), UpdatedAt: timestamppb.New(j.UpdatedAt),
	}
	if c, err := s.edition(j.Version); err == nil {
		sum.VehicleTitle = c.Message().GetTitle()
	}
	if !j.finished() {
		sum.NextStep = j.nextStep().GetTitle()
	}
	return sum
}

// waitingFor says why a job does not go on; empty when somebody works on it or it is over.
func (j *Job) waitingFor() string {
	switch j.stage() {
	case jobv1.JobState_JOB_STATE_OPENED:
		return "a diagnosis"
	case jobv1.JobState_JOB_STATE_AWAITING_AUTHORITY:
		return fmt.Sprintf("the customer's word for %s", amount(j.estimate(), j.currency()))
	case jobv1.JobState_JOB_STATE_READY:
		switch {
		case j.Parts.GetState() == jobv1.PartsState_PARTS_STATE_SHORT:
			return "parts: " + strings.Join(j.Parts.GetShortParts(), ", ")
		case !j.booked():
			return orElse(j.Booking.GetWaitingFor(), "a bay")
		case !j.Received:
			return "the car"
		}
		return "its turn"
	case jobv1.JobState_JOB_STATE_PROVING:
		if unmet := j.unmet(); len(unmet) > 0 {
			return unmet[0].GetDescription()
		}
		return "the invoice"
	case jobv1.JobState_JOB_STATE_IN_WORK:
		next := j.nextStep()
		if next == nil || j.Progress[next.GetId()].State == jobv1.StepState_STEP_STATE_STARTED {
			return ""
		}
		if unmet := j.beforeStart(next); len(unmet) > 0 {
			return unmet[0].Description
		}
	case jobv1.JobState_JOB_STATE_CLOSED:
		if j.lookbackOpen() {
			return "an outcome of the re-opened audit"
		}
	case jobv1.JobState_JOB_STATE_UNSPECIFIED, jobv1.JobState_JOB_STATE_CANCELLED:
	}
	return ""
}

// resource is the job as callers see it.
func (j *Job) resource() *jobv1.Job {
	r := &jobv1.Job{
		Name: j.Name, State: j.stage(), Vehicle: j.Vehicle, Customer: j.Customer, Complaint: j.Complaint, Received: j.Received,
		ExpectedAt: stamp(j.ExpectedAt), WantedBy: stamp(j.WantedBy), Priority: j.Priority, CatalogueVersion: j.Version,
		CodeReports: j.Reports, Symptoms: j.Symptoms, Tests: j.Tests, Causes: j.Causes, Plan: j.Plan, Findings: j.Findings,
		Trays: j.Stowed, Debris: j.Debris, ToolsOnCar: j.Tools, Authorisations: j.Authorised, Parts: j.Parts, Booking: j.Booking,
		Audit: j.Audit, RoadTests: j.RoadTests, CodesClearedAt: stamp(j.ClearedAt), Progress: j.progressRows(),
		OpenedAt: stamp(j.OpenedAt), UpdatedAt: stamp(j.UpdatedAt), CancelReason: j.CancelReason, TraceId: j.TraceID,
		PersonalDataErased: j.Erased != nil,
	}
	j.addInvoices(r)
	switch {
	case !j.finished():
		r.Unmet, r.AuthorityAsked = j.unmet(), j.asking()
	case j.lookbackOpen():
		r.Unmet = j.unmetLookback()
	}
	return r
}

// progressRows gives every step of the plan, and those dropped after a start.
func (j *Job) progressRows() []*jobv1.StepProgress {
	var rows []*jobv1.StepProgress
	for _, s := range j.Plan.GetSteps() {
		rows = append(rows, j.progressRow(s.GetId()))
	}
	for _, id := range j.Order {
		if j.step(id) == nil {
			rows = append(rows, j.progressRow(id))
		}
	}
	return rows
}

func (j *Job) progressRow(id string) *jobv1.StepProgress {
	p := j.Progress[id]
	if p.State == jobv1.StepState_STEP_STATE_UNSPECIFIED {
		p.State = jobv1.StepState_STEP_STATE_PLANNED
	}
	return &jobv1.StepProgress{
		Step: id, State: p.State, StartedAt: stamp(p.StartedAt), DoneAt: stamp(p.DoneAt),
		Worked: durationpb.New(p.Worked), By: p.By, Note: p.Note,
	}
}
