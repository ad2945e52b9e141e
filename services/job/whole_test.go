package job

import (
	"context"
	"fmt"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/reflect/protoreflect"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/platform/fault"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	torqueauditv1 "ramprow/proto/ramprow/torque_audit/v1"
)

func protoString(s string) protoreflect.Value { return protoreflect.ValueOfString(s) }

// TestWholeJobThroughTheServer calls every method once, from intake to payment.
func TestWholeJobThroughTheServer(t *testing.T) {
	b := newBench(t)
	b.furnish()
	c := b.client
	if list := call(b, c.ListCatalogues, &jobv1.ListCataloguesRequest{}).GetCatalogues(); len(list) != 2 || list[0].GetCatalogue() != van {
		t.Errorf("catalogues %v", list)
	}
	if got := call(b, c.GetCatalogue, &jobv1.GetCatalogueRequest{Catalogue: car, Edition: 1}); got.GetCatalogue().GetId() != car {
		t.Errorf("catalogue %s", got.GetVersion())
	}
	req := intake()
	req.ExpectedAt = timestamppb.New(time.Now().Add(time.Hour))
	call(b, c.OpenJob, req)
	call(b, c.ReceiveVehicle, &jobv1.ReceiveVehicleRequest{Job: job1})
	call(b, c.RecordCodes, &jobv1.RecordCodesRequest{Job: job1, Moment: jobv1.ReadingMoment_READING_MOMENT_INTAKE, Codes: []*jobv1.CodeReading{{Code: "P0304"}}})
	call(b, c.NoteSymptom, &jobv1.NoteSymptomRequest{Job: job1, Symptom: "ticking", Present: true})
	call(b, c.WithdrawEvidence, &jobv1.WithdrawEvidenceRequest{Job: job1, Symptom: "ticking", Reason: "it was the fan"})
	call(b, c.RecordTest, &jobv1.RecordTestRequest{Job: job1, Test: "swap-coil", Outcome: jobv1.TestOutcome_TEST_OUTCOME_POSITIVE})
	said := call(b, c.Diagnose, &jobv1.DiagnoseRequest{Job: job1})
	if said.GetCauses()[0].GetCause() != "coil-4" || len(said.GetActions()) == 0 {
		t.Errorf("the swapped coil took the misfire along, but first comes %v", said.GetCauses()[0])
	}
	preview := call(b, c.PreviewPlan, &jobv1.PreviewPlanRequest{Job: job1, Causes: []string{"plug-4"}})
	if preview.GetPlan().GetRevision() != 1 || len(preview.GetWhileOpen()) == 0 {
		t.Errorf("preview of revision %d with %d suggestions", preview.GetPlan().GetRevision(), len(preview.GetWhileOpen()))
	}
	confirmed := call(b, c.ConfirmDiagnosis, &jobv1.ConfirmDiagnosisRequest{Job: job1, Causes: []string{"coil-4"}})
	if confirmed.GetJob().GetTraceId() != confirmed.GetReceipt().GetTraceId() {
		t.Errorf("the job names trace %q, the receipt %q", confirmed.GetJob().GetTraceId(), confirmed.GetReceipt().GetTraceId())
	}
	call(b, c.AuthoriseWork, &jobv1.AuthoriseWorkRequest{Job: job1, UpTo: euros(10_000_00), GivenBy: "Marta", How: "telephone"})
	b.othersAnswer(confirmed.GetJob())
	b.workThrough()
	b.proveAndClose()
}

// othersAnswer has parts issued, a bay booked and the audit complete.
func (b *bench) othersAnswer(j *jobv1.Job) {
	known := &Job{Name: j.GetName(), Plan: j.GetPlan()}
	b.say("inventory", &inventoryv1.PartsIssued{Job: job1, Hold: holdOf(known, issued)})
	b.say("scheduling", bookingMade(known))
	b.say("torque-audit", &torqueauditv1.SheetCompleted{Job: job1, PlanRevision: 1, Joints: count(j.GetPlan().GetJoints())})
	b.await("all have answered", func(j *jobv1.Job) bool {
		return len(j.GetParts().GetIssuedLines()) > 0 && j.GetBooking().GetWhen() != nil && j.GetAudit().GetState() == jobv1.AuditState_AUDIT_STATE_COMPLETE
	})
}

func (b *bench) workThrough() {
	c := b.client
	steps := b.await("there is a plan", func(j *jobv1.Job) bool { return j.GetPlan() != nil }).GetPlan().GetSteps()
	for i, s := range steps {
		call(b, c.StartStep, &jobv1.StartStepRequest{Job: job1, Step: s.GetId()})
		if i == 0 {
			call(b, c.PauseStep, &jobv1.PauseStepRequest{Job: job1, Step: s.GetId()})
			call(b, c.ResumeStep, &jobv1.ResumeStepRequest{Job: job1, Step: s.GetId()})
			call(b, c.ReportFinding, &jobv1.ReportFindingRequest{Job: job1, Kind: brokenUp, Piece: "coils", PiecesMissing: 1})
			call(b, c.SettleDebris, &jobv1.SettleDebrisRequest{Job: job1, Finding: "f1", Found: 1})
		}
		after := call(b, c.FinishStep, &jobv1.FinishStepRequest{Job: job1, Step: s.GetId()}).GetJob()
		if trays := after.GetTrays(); len(trays) == 1 && trays[0].GetSettled() == 0 {
			call(b, c.ExplainPiece, &jobv1.ExplainPieceRequest{Job: job1, Piece: trays[0].GetPiece(), Count: 1, Explanation: "cracked"})
		}
	}
}

func (b *bench) proveAndClose() {
	c := b.client
	_, err := c.CloseInvoice(b.ctx, &jobv1.CloseInvoiceRequest{RequestId: b.once(), Job: job1})
	if fault.ReasonOf(err) != "INVOICE_NOT_READY" {
		b.t.Errorf("closed unproved: %v", err)
	}
	call(b, c.ClearCodes, &jobv1.ClearCodesRequest{Job: job1})
	call(b, c.RecordCodes, &jobv1.RecordCodesRequest{Job: job1, Moment: afterClearing})
	call(b, c.RecordRoadTest, &jobv1.RecordRoadTestRequest{Job: job1, Passed: true, DistanceKm: 9})
	call(b, c.RecordCodes, &jobv1.RecordCodesRequest{Job: job1, Moment: afterDrive})
	preview := call(b, c.PreviewInvoice, &jobv1.PreviewInvoiceRequest{Job: job1})
	if len(preview.GetUnmet()) != 0 || preview.GetInvoice().GetNumber() != "" {
		b.t.Fatalf("preview %v", preview)
	}
	closed := call(b, c.CloseInvoice, &jobv1.CloseInvoiceRequest{Job: job1}).GetInvoice()
	if closed.GetGross().GetMinorUnits() != preview.GetInvoice().GetGross().GetMinorUnits() || !strings.HasSuffix(closed.GetNumber(), "-000001") {
		b.t.Errorf("closed as %v", closed)
	}
	paid := call(b, c.RecordPayment, &jobv1.RecordPaymentRequest{Job: job1, Amount: closed.GetGross(), How: "card"})
	got := call(b, c.GetJob, &jobv1.GetJobRequest{Job: job1, MinRevision: paid.GetReceipt().GetRevision()}).GetJob()
	if got.GetState() != jobv1.JobState_JOB_STATE_CLOSED || got.GetInvoice().GetPaid().GetMinorUnits() != closed.GetGross().GetMinorUnits() {
		b.t.Errorf("at the end: %v", got)
	}
	b.story(paid.GetReceipt().GetRevision())
}

// story reads the history in pages of five: whole, in order, nothing twice.
func (b *bench) story(revision uint64) {
	var events []string
	req := &jobv1.GetJobHistoryRequest{Job: job1, PageSize: 5, MinRevision: revision}
	for {
		page := call(b, b.client.GetJobHistory, req)
		for _, e := range page.GetEntries() {
			events = append(events, e.GetEvent())
			if e.GetText() == "" || e.GetAt() == nil {
				b.t.Errorf("entry %v", e)
			}
		}
		if page.GetNextPageToken() == "" {
			break
		}
		req.PageToken = page.GetNextPageToken()
	}
	n := len(events)
	if events[0] != "JobOpened" || events[n-1] != "PaymentRecorded" || events[n-2] != "InvoiceClosed" {
		b.t.Errorf("the story is %v", events)
	}
	counts := map[string]int{}
	for _, e := range events {
		counts[e]++
	}
	if counts["StepStarted"] == 0 || counts["StepStarted"] != counts["StepDone"] || counts["WorkFinished"] != 1 || counts["CodesRead"] != 3 {
		b.t.Errorf("the story counts %v", counts)
	}
}

func TestRepeatedRequestGivesTheSameJob(t *testing.T) {
	b := newBench(t)
	b.furnish()
	req := intake()
	req.RequestId = b.once()
	first, err := b.client.OpenJob(b.ctx, req)
	b.must(err)
	second, err := b.client.OpenJob(b.ctx, req)
	b.must(err)
	if second.GetJob().GetName() != first.GetJob().GetName() || !second.GetReceipt().GetRepeatedAnswer() || first.GetReceipt().GetRepeatedAnswer() {
		t.Errorf("first %v, then %v", first, second)
	}
	if second.GetJob().GetVehicle().GetVin() != vin {
		t.Error("the repeated answer is not the whole job")
	}
	req.Complaint = "another"
	if _, err := b.client.OpenJob(b.ctx, req); err == nil {
		t.Error("the same id with another content was taken")
	}
}

func TestOtherSitesSeeNothing(t *testing.T) {
	b := newBench(t)
	b.furnish()
	b.openJob()
	for name, ask := range map[string]func() error{
		"GetJob":   func() error { _, err := b.stranger.GetJob(b.ctx, &jobv1.GetJobRequest{Job: job1}); return err },
		"Diagnose": func() error { _, err := b.stranger.Diagnose(b.ctx, &jobv1.DiagnoseRequest{Job: job1}); return err },
		"ClearCodes": func() error {
			_, err := b.stranger.ClearCodes(b.ctx, &jobv1.ClearCodesRequest{RequestId: "stranger-1", Job: job1})
			return err
		},
		"GetJobHistory": func() error {
			_, err := b.stranger.GetJobHistory(b.ctx, &jobv1.GetJobHistoryRequest{Job: job1})
			return err
		},
		"WatchJob": func() error {
			stream, err := b.stranger.WatchJob(b.ctx, &jobv1.WatchJobRequest{Job: job1})
			b.must(err)
			_, err = stream.Recv()
			return err
		},
	} {
		if err := ask(); fault.KindOf(err) != fault.NotFound || fault.ReasonOf(err) != "JOB_NOT_FOUND" {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestListsAndWatching(t *testing.T) {
	b := newBench(t)
	b.furnish()
	var newest uint64
	for range 5 {
		newest = b.openJob().GetReceipt().GetRevision()
	}
	b.list(&jobv1.ListJobsRequest{MinRevision: newest}) // a watch begins with what the views hold
	ctx, stop := context.WithCancel(b.ctx)
	defer stop()
	stream, err := b.client.WatchJobs(ctx, &jobv1.WatchJobsRequest{})
	b.must(err)
	seen := map[string]bool{}
	for {
		got, err := stream.Recv()
		b.must(err)
		if got.GetCaughtUp() {
			break
		}
		seen[got.GetJob().GetName()] = true
	}
	if len(seen) != 5 {
		t.Errorf("watching begins with %v", seen)
	}
	cancelled := call(b, b.client.CancelJob, &jobv1.CancelJobRequest{Job: "jobs/3", Reason: "sold"})
	for {
		got, err := stream.Recv()
		b.must(err)
		if got.GetJob().GetName() == "jobs/3" && got.GetJob().GetState() == jobv1.JobState_JOB_STATE_CANCELLED {
			break
		}
	}
	revision := cancelled.GetReceipt().GetRevision()
	for _, tt := range []struct {
		req  *jobv1.ListJobsRequest
		want string
	}{
		{&jobv1.ListJobsRequest{}, "[jobs/5 jobs/4 jobs/2 jobs/1]"},
		{&jobv1.ListJobsRequest{WithFinished: true}, "[jobs/5 jobs/4 jobs/3 jobs/2 jobs/1]"},
		{&jobv1.ListJobsRequest{State: jobv1.JobState_JOB_STATE_CANCELLED}, "[jobs/3]"},
		{&jobv1.ListJobsRequest{State: jobv1.JobState_JOB_STATE_CLOSED}, "[]"},
	} {
		tt.req.PageSize, tt.req.MinRevision = 2, revision
		if got := fmt.Sprint(b.list(tt.req)); got != tt.want {
			t.Errorf("%v lists %s, want %s", tt.req, got, tt.want)
		}
	}
}

// list reads all pages.
func (b *bench) list(req *jobv1.ListJobsRequest) []string {
	b.t.Helper()
	var names []string
	for {
		page := call(b, b.client.ListJobs, req)
		for _, j := range page.GetJobs() {
			names = append(names, j.GetName())
		}
		if page.GetNextPageToken() == "" {
			return names
		}
		req.PageToken = page.GetNextPageToken()
	}
}
