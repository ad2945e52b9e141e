package job

import (
	"errors"
	"reflect"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/testing/protocmp"

	"ramprow/internal/platform/readmodel/readmodeltest"
	"ramprow/internal/platform/shelf"
	"ramprow/internal/platform/sitelog"
	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	logv1 "ramprow/proto/ramprow/log/v1"
)

// rest lets time pass and does what becomes due on the way.
func (s *site) rest(d time.Duration) {
	s.t.Helper()
	end := s.now.Add(d)
	for at, pending := due(s.st); pending && !at.After(end); at, pending = due(s.st) {
		if at.After(s.now) {
			s.now = at
		}
		events, err := fire(s.st, s.input())
		if err != nil || len(events) == 0 {
			s.t.Fatalf("due at %v, and fire says %v %v", at, events, err)
		}
		s.commit(events)
	}
	s.now = end
}

// recall brings back what an error says is archived, as a writer does.
func (s *site) recall(err error) {
	s.t.Helper()
	filed, ok := errors.AsType[*sitelog.ArchivedError](err)
	if !ok {
		s.t.Fatalf("nothing archived is asked for: %v", err)
	}
	archived, ok := s.log[filed.Commit-1].Message.(*logv1.Archived)
	if !ok || archived.GetName() != filed.Name {
		s.t.Fatalf("commit %d does not archive %s", filed.Commit, filed.Name)
	}
	s.commit([]proto.Message{&logv1.Recalled{Name: filed.Name, Commit: filed.Commit, Record: archived.GetRecord()}})
}

// A closed job leaves the state after a day without news, comes back for a
// payment or late news as it was, and leaves again. A snapshot at any moment of
// that makes no difference.
func TestAFinishedJobLeavesAndComesBack(t *testing.T) {
	s := proved(t, "follower-4")
	if _, err := s.close(job1); err != nil {
		t.Fatal(err)
	}
	before := s.job().clone()
	s.rest(shelf.Rest - time.Minute)
	if s.job() == nil {
		t.Fatal("the job left before its time")
	}
	s.rest(time.Minute)
	if len(s.st.jobs) != 0 {
		t.Fatalf("the state still has %d jobs", len(s.st.jobs))
	}

	_, err := s.st.job(job1)
	s.recall(err)
	if diff := cmp.Diff(before, s.job(), protocmp.Transform(), cmpopts.EquateEmpty()); diff != "" {
		t.Errorf("the job came back otherwise than it left:\n%s", diff)
	}
	events, err := recordPayment(s.job(), &jobv1.RecordPaymentRequest{
		Amount: &commonv1.Money{MinorUnits: 100, CurrencyCode: s.job().currency()}, How: "cash",
	})
	if err != nil {
		t.Fatal(err)
	}
	s.commit(events)
	s.rest(shelf.Rest)

	late := sitelog.Foreign{Service: "inventory", Message: &inventoryv1.HoldReleased{
		Job: job1, Hold: &inventoryv1.Hold{Job: job1, PlanRevision: 99, State: inventoryv1.HoldState_HOLD_STATE_RELEASED},
	}}
	_, err = react(s.st, late, s.input())
	s.recall(err)
	if s.job().Paid[s.job().Invoice.GetNumber()] != 100 {
		t.Errorf("paid are %v", s.job().Paid)
	}
	if events, err = react(s.st, late, s.input()); err != nil || len(events) != 1 {
		t.Errorf("late news bring %v (%v)", events, err)
	}
	s.commit(events)
	s.rest(shelf.Rest)
	if len(s.st.jobs) != 0 {
		t.Error("the job did not leave again")
	}
	for cut := len(s.log) - 8; cut <= len(s.log); cut++ {
		readmodeltest.Cut(t, Projection(), s.log, cut, sameEdition)
	}
}

// A field that is not in the record would be lost when a job is archived.
func TestARecordHoldsEverything(t *testing.T) {
	at := monday.Add(time.Hour)
	j := &Job{
		Name: job1, Number: 1, Vehicle: &jobv1.Vehicle{Vin: vin}, Customer: &jobv1.Customer{Name: "Otto"}, Complaint: "shakes",
		ExpectedAt: at, WantedBy: at.Add(1), Priority: 3, Version: "v", Received: true,
		Reports: []*jobv1.CodeReport{{}}, Symptoms: []*jobv1.SymptomNote{{Symptom: "s"}}, Tests: []*jobv1.TestRecord{{Test: "t"}},
		Causes: []string{"c"}, Plan: &jobv1.Plan{Revision: 2}, DoneBefore: []string{"d"},
		Progress: map[string]Progress{"a": {
			State: jobv1.StepState_STEP_STATE_PAUSED, StartedAt: at, RunningAt: at.Add(2), DoneAt: at.Add(3), Worked: time.Minute, By: "ada", Note: "n",
		}, "b": {Worked: 1}},
		Order: []string{"b", "a"}, Findings: []*jobv1.Finding{{Feature: "f"}}, Stowed: []*jobv1.Stowed{{Piece: "p"}}, Debris: []*jobv1.Debris{{Piece: "q"}},
		Tools: []*jobv1.ToolOnCar{{Tool: "t"}}, Authorised: []*jobv1.Authorisation{{How: "h"}}, Parts: &jobv1.PartsStatus{OpenLines: 1},
		Booking: &jobv1.BookingStatus{Bay: "b"}, Audit: &jobv1.AuditStatus{Joints: 1}, RoadTests: []*jobv1.RoadTest{{Passed: true}},
		ClearedAt: at.Add(4), FinishedAt: at.Add(5), Invoice: &jobv1.Invoice{Number: "n"}, Paid: map[string]int64{"n": 7}, CancelReason: "r", Cancelled: true,
		OpenedAt: at.Add(6), UpdatedAt: at.Add(7), TraceID: "trace",
		Car:     Car{Off: []string{"o"}, States: []string{"s"}, Repaired: []string{"r"}},
		History: []*jobv1.HistoryEntry{{Text: "t"}}, Invoices: []*jobv1.Invoice{{Number: "n"}}, CreditNotes: []*jobv1.CreditNoteIssued{{Reason: "r"}},
		Billing: &jobv1.Billing{CashUnitMinorUnits: 5}, Advances: []*jobv1.Advance{{Payer: "p"}}, Lookback: &jobv1.Lookback{Note: "n"}, Asked: &jobv1.AuthorityAsk{Reason: "r"},
		Erased: &jobv1.PersonalDataErased{Job: job1, Keys: []string{"k"}},
	}
	for _, whole := range []any{*j, j.Car, j.Progress["a"]} {
		v := reflect.ValueOf(whole)
		for i := range v.NumField() {
			if v.Field(i).IsZero() {
				t.Errorf("%s.%s is empty here: set it, and add it to the record", v.Type().Name(), v.Type().Field(i).Name)
			}
		}
	}
	event, err := sitelog.Archive(j.Name, j.record())
	if err != nil {
		t.Fatal(err)
	}
	var r jobv1.JobRecord
	sitelog.Unpack(event.GetRecord(), &r)
	if diff := cmp.Diff(j, recorded(&r), protocmp.Transform()); diff != "" {
		t.Error(diff)
	}
}
