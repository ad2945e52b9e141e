package e2e_test

import (
	"slices"
	"strconv"
	"strings"
	"testing"

	sdktrace "go.opentelemetry.io/otel/sdk/trace"
	"go.opentelemetry.io/otel/sdk/trace/tracetest"
	"google.golang.org/protobuf/encoding/prototext"

	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/sitelog"
	jobv1 "ramprow/proto/ramprow/job/v1"
	"ramprow/services/terminal"
)

// One trace follows a diagnosis to the hold, the booking and the sheet: in the
// spans, and in what the logs keep. It is a job after the story's, whose
// parts are all on the shelf, so that nothing but the diagnosis sets them off.
func TestOneTraceFollowsTheDiagnosis(t *testing.T) {
	recorder := tracetest.NewInMemoryExporter()
	w := openWorkshop(t, t.TempDir(), sdktrace.NewSimpleSpanProcessor(recorder))
	if first := w.tell(t); first.Invoice == "" || len(first.TraceID) != 32 {
		t.Fatalf("the story ended without invoice or trace: %+v", first)
	}
	job := w.diagnosed(t)
	var names []string
	for _, span := range recorder.GetSpans() {
		if span.SpanContext.TraceID().String() == job.GetTraceId() {
			names = append(names, span.Name)
		}
	}
	for _, want := range []string{
		"ramprow.job.v1.JobService/ConfirmDiagnosis",
		"react job DiagnosisConfirmed",
		"react inventory PartsHeld",
		"react scheduling BookingMade",
		"react torque-audit SheetOpened",
		"send inventory.{partition}.{site}",
		"send scheduling.{partition}.{site}",
		"send torque-audit.{partition}.{site}",
	} {
		if !slices.Contains(names, want) {
			t.Errorf("no span %q in the trace; it has %v", want, names)
		}
	}
	for service, event := range map[string]string{
		terminal.RoleJob:        "DiagnosisConfirmed",
		terminal.RoleInventory:  "PartsHeld",
		terminal.RoleScheduling: "BookingMade",
		terminal.RoleAudit:      "SheetOpened",
	} {
		if trace := w.traceOf(t, service, event, job.GetName()); trace != job.GetTraceId() {
			t.Errorf("the log of %s keeps %s under trace %q, want %q", service, event, trace, job.GetTraceId())
		}
	}
}

// diagnosed opens a job, confirms its diagnosis, and waits until the others have answered.
func (w *workshop) diagnosed(t *testing.T) *jobv1.Job {
	t.Helper()
	clients := w.clients(t)
	ctx := w.as(t, site, "ines", identity.Owner)
	opened, err := clients.Job.OpenJob(ctx, &jobv1.OpenJobRequest{
		RequestId: "e2e-open-1", Complaint: "Shakes.", Customer: &jobv1.Customer{Name: "Otto Wend"},
		Vehicle: &jobv1.Vehicle{Vin: "YMR0RN16ZHA000042", Catalogue: "marlow-orrin", Features: map[string]string{"body": "hatch", "gearbox": "manual"}},
	})
	if err != nil {
		t.Fatal(err)
	}
	confirmed, err := clients.Job.ConfirmDiagnosis(ctx, &jobv1.ConfirmDiagnosisRequest{
		RequestId: "e2e-confirm-1", Job: opened.GetJob().GetName(), Causes: []string{"coil-4"},
	})
	if err != nil {
		t.Fatal(err)
	}
	// Watching begins with the row, which follows the log: wait until it is there.
	if _, err := clients.Job.GetJob(ctx, &jobv1.GetJobRequest{Job: opened.GetJob().GetName(), MinRevision: confirmed.GetReceipt().GetRevision()}); err != nil {
		t.Fatal(err)
	}
	stream, err := clients.Job.WatchJob(ctx, &jobv1.WatchJobRequest{Job: opened.GetJob().GetName()})
	if err != nil {
		t.Fatal(err)
	}
	for {
		r, err := stream.Recv()
		if err != nil {
			t.Fatal(err)
		}
		if j := r.GetJob(); j.GetBooking().GetWhen() != nil && j.GetAudit() != nil && j.GetParts().GetState() == jobv1.PartsState_PARTS_STATE_HELD {
			return j
		}
	}
}

// traceOf gives the trace id of the first event of a kind about a job in a log.
func (w *workshop) traceOf(t *testing.T, service, event, job string) string {
	t.Helper()
	trace := ""
	err := w.Backend.Log.Read(t.Context(), sitelog.Subject{Service: service, Site: site}, 0, func(r sitelog.Record) error {
		events, err := sitelog.EventsOf(r)
		for _, e := range events {
			if string(e.Message.ProtoReflect().Descriptor().Name()) == event && strings.Contains(prototext.Format(e.Message), strconv.Quote(job)) {
				trace = e.TraceID
			}
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return trace
}

// A second workshop on the same folder goes on where the first one stopped.
func TestRestartContinues(t *testing.T) {
	dir := t.TempDir()
	var ending string
	t.Run("before", func(t *testing.T) { ending = openWorkshop(t, dir, nil).tell(t).Invoice })
	w := openWorkshop(t, dir, nil)
	ctx := w.as(t, site, "ines", identity.Owner)
	jobs, err := w.clients(t).Job.ListJobs(ctx, &jobv1.ListJobsRequest{WithFinished: true})
	if err != nil {
		t.Fatal(err)
	}
	list := jobs.GetJobs() // the newest first: the story leaves its second car half way
	if len(list) != 2 || list[0].GetState() != jobv1.JobState_JOB_STATE_IN_WORK || list[1].GetState() != jobv1.JobState_JOB_STATE_CLOSED {
		t.Fatalf("after the restart there is %v", list)
	}
	job, err := w.clients(t).Job.GetJob(ctx, &jobv1.GetJobRequest{Job: list[1].GetName()})
	if err != nil {
		t.Fatal(err)
	}
	if got := job.GetJob().GetInvoice().GetNumber(); got != ending {
		t.Errorf("invoice %s after the restart, %s before", got, ending)
	}
	if opened := w.diagnosed(t); opened.GetName() != "jobs/3" {
		t.Errorf("the next job after the restart is %s, want jobs/3", opened.GetName())
	}
}
