package invariants

import (
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	logv1 "ramprow/proto/ramprow/log/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
	torqueauditv1 "ramprow/proto/ramprow/torque_audit/v1"
)

var noon = time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)

// log makes one commit of one entry for each event.
func log(events ...proto.Message) []Commit {
	var commits []Commit
	for i, m := range events {
		commits = append(commits, Commit{
			Commit: &logv1.Commit{
				Number: uint64(i + 1), Time: timestamppb.New(noon.Add(time.Duration(i) * time.Minute)),
				Entries: []*logv1.Entry{{Cause: &logv1.Entry_Timer{Timer: &logv1.TimerCause{}}}},
			},
			Sequence: uint64(i + 1), Events: [][]proto.Message{{m}},
		})
	}
	return commits
}

func moved(number uint64, quantity, after int64) proto.Message {
	return &inventoryv1.StockMoved{Movement: &inventoryv1.Movement{Number: number, Part: "P-1", Quantity: quantity, OnHandAfter: after}}
}

func held(job string, n int64) proto.Message {
	return &inventoryv1.PartsHeld{Job: job, Hold: &inventoryv1.Hold{Job: job, Lines: []*inventoryv1.HoldLine{{Line: "1", Part: "P-1", Held: n}}}}
}

func booking(job, bay string, state schedulingv1.BookingState, from int) *schedulingv1.Booking {
	start := noon.Add(time.Duration(from) * time.Hour)
	return &schedulingv1.Booking{
		Job: job, Bay: bay, State: state, StartedAt: timestamppb.New(noon),
		When: &commonv1.Interval{Start: timestamppb.New(start), End: timestamppb.New(start.Add(2 * time.Hour))},
	}
}

func closed(job string, n uint64, number string) proto.Message {
	return &jobv1.InvoiceClosed{Job: job, Series: "2026", Sequence: n, Invoice: &jobv1.Invoice{Number: number}}
}

func TestRules(t *testing.T) {
	const (
		booked  = schedulingv1.BookingState_BOOKING_STATE_BOOKED
		started = schedulingv1.BookingState_BOOKING_STATE_STARTED
		over    = schedulingv1.BookingState_BOOKING_STATE_FINISHED
	)
	for name, c := range map[string]struct {
		rule func(*findings, Logs, []Ack)
		logs Logs
		want string // part of the violation; empty: none
	}{
		"all is well on the shelf":   {shelf, Logs{"inventory": log(moved(1, 3, 3), held("jobs/1", 2), held("jobs/2", 1))}, ""},
		"promised twice":             {shelf, Logs{"inventory": log(moved(1, 3, 3), held("jobs/1", 2), held("jobs/2", 2))}, "4 of P-1 are promised"},
		"taken while promised":       {shelf, Logs{"inventory": log(moved(1, 3, 3), held("jobs/1", 3), moved(2, -1, 2))}, "3 of P-1 are promised"},
		"on hand not explained":      {shelf, Logs{"inventory": log(moved(1, 3, 3), moved(2, 1, 5))}, "all movements make it 4"},
		"less than nothing":          {shelf, Logs{"inventory": log(moved(1, -1, -1))}, "-1 of P-1 are on hand"},
		"a movement is missing":      {shelf, Logs{"inventory": log(moved(2, 1, 1))}, "should be number 1"},
		"one after the other":        {board, Logs{"scheduling": log(&schedulingv1.BookingMade{Booking: booking("jobs/1", "bays/1", booked, 0)}, &schedulingv1.BookingMade{Booking: booking("jobs/2", "bays/1", booked, 2)})}, ""},
		"two cars in a bay":          {board, Logs{"scheduling": log(&schedulingv1.BookingMade{Booking: booking("jobs/1", "bays/1", booked, 0)}, &schedulingv1.BookingMade{Booking: booking("jobs/2", "bays/1", booked, 1)})}, "bays/1 is booked for jobs/1 and for jobs/2"},
		"a car that left":            {board, Logs{"scheduling": log(&schedulingv1.BookingFinished{Booking: booking("jobs/1", "bays/1", over, 0)}, &schedulingv1.BookingMade{Booking: booking("jobs/2", "bays/1", booked, 1)})}, ""},
		"begun work is moved":        {board, Logs{"scheduling": log(&schedulingv1.BookingStarted{Booking: booking("jobs/1", "bays/1", started, 0)}, &schedulingv1.BookingMoved{Booking: booking("jobs/1", "bays/2", started, 0)})}, "had begun in bays/1"},
		"a number is left out":       {invoices, Logs{"job": log(closed("jobs/1", 2, "2026-000002"))}, "should be number 1 of 2026"},
		"invoiced without diagnosis": {invoices, Logs{"job": log(closed("jobs/1", 1, "2026-000001"))}, "nothing is diagnosed"},
	} {
		t.Run(name, func(t *testing.T) {
			f := &findings{}
			c.rule(f, c.logs, nil)
			switch {
			case c.want == "" && len(f.list) > 0:
				t.Errorf("found %v in what is right", f.list)
			case c.want != "" && (len(f.list) == 0 || !strings.Contains(f.list[0].Text, c.want)):
				t.Errorf("found %v, want %q", f.list, c.want)
			}
		})
	}
}

// story is a job that may be invoiced; without leaves one event out.
func story(without int) []proto.Message {
	plan := &jobv1.Plan{Revision: 1, Steps: []*jobv1.PlannedStep{{Id: "open"}}, LabourEstimate: &commonv1.Money{MinorUnits: 100}}
	at := func(i int) *timestamppb.Timestamp { return timestamppb.New(noon.Add(time.Duration(i) * time.Minute)) }
	all := []proto.Message{
		&jobv1.DiagnosisConfirmed{Job: "jobs/1", Plan: plan},
		&jobv1.WorkAuthorised{Job: "jobs/1", Authorisation: &jobv1.Authorisation{UpTo: &commonv1.Money{MinorUnits: 100}}},
		&jobv1.PiecesStowed{Job: "jobs/1", Pieces: []*jobv1.Stowed{{Piece: "cover", Count: 2}}},
		&jobv1.PiecesRefitted{Job: "jobs/1", Pieces: []*jobv1.Stowed{{Piece: "cover", Settled: 2}}},
		&jobv1.ToolPutOn{Job: "jobs/1", Tool: &jobv1.ToolOnCar{Tool: "pin"}},
		&jobv1.ToolTakenOff{Job: "jobs/1", Tool: "pin"},
		&jobv1.StepDone{Job: "jobs/1", Step: "open"},
		&jobv1.WorkFinished{Job: "jobs/1"},
		&jobv1.CodesCleared{Job: "jobs/1"},
		&jobv1.CodesRead{Job: "jobs/1", Report: &jobv1.CodeReport{Moment: jobv1.ReadingMoment_READING_MOMENT_AFTER_CLEARING, ReadAt: at(9)}},
		&jobv1.RoadTestRecorded{Job: "jobs/1", Test: &jobv1.RoadTest{Passed: true, At: at(10)}},
		&jobv1.CodesRead{Job: "jobs/1", Report: &jobv1.CodeReport{Moment: jobv1.ReadingMoment_READING_MOMENT_AFTER_ROAD_TEST, ReadAt: at(11)}},
		closed("jobs/1", 1, "2026-000001"),
	}
	if without >= 0 {
		all[without] = &jobv1.SymptomNoted{Job: "jobs/1"}
	}
	return all
}

// Every event of the story is needed, but those that only make another one needed.
func TestEveryConditionOfAnInvoiceIsChecked(t *testing.T) {
	logs := func(job []proto.Message) Logs {
		l := Logs{
			"job":          log(job...),
			"inventory":    log(&inventoryv1.PartsHeld{Job: "jobs/1", Hold: &inventoryv1.Hold{Job: "jobs/1", PlanRevision: 1}}),
			"torque-audit": log(&torqueauditv1.SheetOpened{Job: "jobs/1"}, &torqueauditv1.SheetCompleted{Job: "jobs/1", PlanRevision: 1}),
		}
		for i, followed := range []string{"inventory", "torque-audit"} {
			l["job"][i].Entries[0].Cause = &logv1.Entry_Reaction{Reaction: &logv1.ReactionCause{Service: followed, Sequence: uint64(len(l[followed]))}}
		}
		return l
	}
	check := func(l Logs) []Violation {
		f := &findings{}
		invoices(f, l, nil)
		return f.list
	}
	if found := check(logs(story(-1))); len(found) > 0 {
		t.Fatalf("found %v in what is right", found)
	}
	for without, event := range story(-1) {
		switch event.(type) {
		case *jobv1.PiecesStowed, *jobv1.ToolPutOn, *jobv1.InvoiceClosed:
			continue
		}
		if len(check(logs(story(without)))) == 0 {
			t.Errorf("without %T it was invoiced, and nothing was found", event)
		}
	}
	for _, service := range []string{"inventory", "torque-audit"} {
		l := logs(story(-1))
		l[service] = nil
		if len(check(l)) == 0 {
			t.Errorf("nothing was found although %s said nothing", service)
		}
	}
}
