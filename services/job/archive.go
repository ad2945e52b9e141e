package job

import (
	"maps"
	"slices"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/durationpb"

	"ramprow/internal/platform/readmodel"
	"ramprow/internal/platform/shelf"
	"ramprow/internal/platform/sitelog"
	jobv1 "ramprow/proto/ramprow/job/v1"
	logv1 "ramprow/proto/ramprow/log/v1"
)

// due is when the next finished job may leave the state.
func due(s *State) (time.Time, bool) { return s.shelf.Due() }

// fire archives finished jobs to which nothing has happened for a while.
func fire(s *State, in sitelog.Input) ([]proto.Message, error) {
	return s.shelf.Archive(in.Now, jobName, func(number uint64) proto.Message { return s.jobs[jobName(number)].record() })
}

func (s *State) archive(m *logv1.Archived, commit uint64, at time.Time) {
	number := shelf.Number(m.GetName())
	if m.GetStays() {
		s.shelf.Stay(number)
		return
	}
	delete(s.jobs, m.GetName())
	s.shelf.File(number, commit, at)
}

func (s *State) recall(m *logv1.Recalled, at time.Time) {
	var r jobv1.JobRecord
	sitelog.Unpack(m.GetRecord(), &r)
	s.jobs[m.GetName()] = recorded(&r)
	s.shelf.Recall(shelf.Number(m.GetName()), at)
}

// archived gives the error that brings a job back; nil if it is not archived.
func (s *State) archived(name string) *sitelog.ArchivedError {
	if number := shelf.Number(name); number > 0 && name == jobName(number) {
		return s.shelf.Find(number, name)
	}
	return nil
}

// told finds the job that another service speaks of; nil if there is none.
func (s *State) told(name string) (*Job, error) {
	if f := s.archived(name); f != nil {
		return nil, f
	}
	return s.jobs[name], nil
}

// archive says which rows belong to jobs that may have left the state.
func archive() *readmodel.Archive[*State] {
	return &readmodel.Archive[*State]{
		Find: (*State).archived,
		All: func(s *State) []string {
			names := make([]string, 0, 16)
			for _, number := range s.shelf.All() {
				names = append(names, jobName(number))
			}
			return names
		},
		RowsOf: func(s *State, name string) []readmodel.Key {
			rows := []readmodel.Key{{Model: modelJob, ID: name}, {Model: modelSummary, ID: name}}
			for i := range s.jobs[name].History {
				rows = append(rows, storyKey(name, i))
			}
			return rows
		},
		Of:    jobOf,
		Lists: listed,
	}
}

func (j *Job) record() *jobv1.JobRecord {
	r := &jobv1.JobRecord{
		Job: j.Name, Vehicle: j.Vehicle, Customer: j.Customer, Complaint: j.Complaint,
		ExpectedAt: stamp(j.ExpectedAt), WantedBy: stamp(j.WantedBy), Priority: j.Priority, CatalogueVersion: j.Version, Received: j.Received,
		CodeReports: j.Reports, Symptoms: j.Symptoms, Tests: j.Tests, Causes: j.Causes,
		Plan: j.Plan, DoneBefore: j.DoneBefore, Order: j.Order, Findings: j.Findings, Trays: j.Stowed, Debris: j.Debris,
		ToolsOnCar: j.Tools, Authorisations: j.Authorised, Parts: j.Parts, Booking: j.Booking, Audit: j.Audit, RoadTests: j.RoadTests,
		CodesClearedAt: stamp(j.ClearedAt), FinishedAt: stamp(j.FinishedAt), Invoice: j.Invoice,
		Invoices: j.Invoices, CreditNotes: j.CreditNotes, PaidByInvoice: j.Paid, Billing: j.Billing, Advances: j.Advances, Lookback: j.Lookback, AuthorityAsked: j.Asked, Erased: j.Erased,
		CancelReason: j.CancelReason, Cancelled: j.Cancelled, OpenedAt: stamp(j.OpenedAt), UpdatedAt: stamp(j.UpdatedAt), TraceId: j.TraceID,
		OperationsOff: j.Car.Off, CarStates: j.Car.States, Repaired: j.Car.Repaired, History: j.History,
	}
	for _, step := range slices.Sorted(maps.Keys(j.Progress)) {
		p := j.Progress[step]
		r.Steps = append(r.Steps, &jobv1.StepRecord{
			Step: step, State: p.State, StartedAt: stamp(p.StartedAt), RunningAt: stamp(p.RunningAt), DoneAt: stamp(p.DoneAt),
			Worked: durationpb.New(p.Worked), By: p.By, Note: p.Note,
		})
	}
	return r
}

func recorded(r *jobv1.JobRecord) *Job {
	j := &Job{
		Name: r.GetJob(), Number: shelf.Number(r.GetJob()), Vehicle: r.GetVehicle(), Customer: r.GetCustomer(), Complaint: r.GetComplaint(),
		ExpectedAt: clock(r.GetExpectedAt()), WantedBy: clock(r.GetWantedBy()), Priority: r.GetPriority(),
		Version: r.GetCatalogueVersion(), Received: r.GetReceived(),
		Reports: r.GetCodeReports(), Symptoms: r.GetSymptoms(), Tests: r.GetTests(), Causes: r.GetCauses(),
		Plan: r.GetPlan(), DoneBefore: r.GetDoneBefore(), Progress: map[string]Progress{}, Order: r.GetOrder(),
		Findings: r.GetFindings(), Stowed: r.GetTrays(), Debris: r.GetDebris(), Tools: r.GetToolsOnCar(), Authorised: r.GetAuthorisations(),
		Parts: r.GetParts(), Booking: r.GetBooking(), Audit: r.GetAudit(), RoadTests: r.GetRoadTests(),
		ClearedAt: clock(r.GetCodesClearedAt()), FinishedAt: clock(r.GetFinishedAt()), Invoice: r.GetInvoice(),
		Invoices: r.GetInvoices(), CreditNotes: r.GetCreditNotes(), Paid: r.GetPaidByInvoice(), Billing: r.GetBilling(), Advances: r.GetAdvances(), Lookback: r.GetLookback(), Asked: r.GetAuthorityAsked(), Erased: r.GetErased(),
		CancelReason: r.GetCancelReason(), Cancelled: r.GetCancelled(), OpenedAt: clock(r.GetOpenedAt()), UpdatedAt: clock(r.GetUpdatedAt()),
		TraceID: r.GetTraceId(), History: r.GetHistory(),
		Car: Car{Off: r.GetOperationsOff(), States: r.GetCarStates(), Repaired: r.GetRepaired()},
	}
	if j.Invoice != nil && len(j.Invoices) == 0 {
		j.Invoices = []*jobv1.Invoice{j.Invoice}
		j.Paid = map[string]int64{j.Invoice.GetNumber(): r.GetPaid()}
	}
	for _, s := range r.GetSteps() {
		j.Progress[s.GetStep()] = Progress{
			State: s.GetState(), StartedAt: clock(s.GetStartedAt()), RunningAt: clock(s.GetRunningAt()), DoneAt: clock(s.GetDoneAt()),
			Worked: s.GetWorked().AsDuration(), By: s.GetBy(), Note: s.GetNote(),
		}
	}
	return j
}
