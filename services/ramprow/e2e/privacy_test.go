package e2e_test

import (
	"bytes"
	"context"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"google.golang.org/protobuf/encoding/prototext"
	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/identity"
	"ramprow/internal/platform/personal"
	"ramprow/internal/platform/sitelog"
	commonv1 "ramprow/proto/ramprow/common/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	schedulingv1 "ramprow/proto/ramprow/scheduling/v1"
	torqueauditv1 "ramprow/proto/ramprow/torque_audit/v1"
	"ramprow/services/terminal"
)

// remnants of a person who brings a car.
var remnants = []string{"Tilda Quarrow", "020 7946 0991", "Osier Lane", "QV-77 TST", "YMR0RN16ZHA000042", "rattles since", "Ansel"}

// standing gives those that stand in a text.
func standing(text []byte) []string {
	var list []string
	for _, word := range remnants {
		if bytes.Contains(text, []byte(word)) {
			list = append(list, word)
		}
	}
	return list
}

// What says who a customer is lies nowhere in plain words: not in the logs of any
// service nor in a snapshot, whose files are looked through. People see it until
// the customer is forgotten, and then nobody does, after a restart from the files
// either. An invoice that was issued stays whole.
func TestACustomerIsForgotten(t *testing.T) {
	dir, _ := folder(t, end)
	var secrets [][]byte
	t.Run("before", func(t *testing.T) {
		w := openWorkshop(t, dir, nil)
		ctx := w.as(t, site, "ines", identity.Owner)
		clients := w.clients(t)
		job := w.brought(ctx, t, clients)
		if got := standing(w.shown(ctx, t, clients, job.GetName())); !slices.Equal(got, remnants) {
			t.Errorf("people see %q", got)
		}
		if got := standing(files(t, dir)); len(got) > 0 {
			t.Errorf("%q lie on disk", got)
		}
		must(t)(clients.Job.CancelJob(ctx, &jobv1.CancelJobRequest{RequestId: "cancel-0001", Job: job.GetName(), Reason: "not worth it"}))
		secrets = w.secrets(t, job.GetName(), files(t, dir))
		must(t)(clients.Personal.ErasePersonalData(ctx, &jobv1.ErasePersonalDataRequest{
			RequestId: "letter-0001", Customer: "Tilda Quarrow", Reference: "letter 12/26",
		}))
		if got := standing(w.shown(ctx, t, clients, job.GetName())); len(got) > 0 {
			t.Errorf("afterwards people see %q", got)
		}
		w.forgetsThePaid(ctx, t, clients)
	})
	w := openWorkshop(t, dir, nil)
	ctx := w.as(t, site, "ines", identity.Owner)
	if got := standing(w.shown(ctx, t, w.clients(t), "jobs/3")); len(got) > 0 {
		t.Errorf("after the restart people see %q", got)
	}
	disk := files(t, dir)
	for _, secret := range secrets {
		if bytes.Contains(disk, secret) {
			t.Error("a destroyed key lies on disk")
		}
	}
	w.onlyInvoicesName(t, "Mill Lane 3")
}

// brought opens a job with all that may be known of a person, has it diagnosed
// and authorised, and waits until the other services have heard of it.
func (w *workshop) brought(ctx context.Context, t *testing.T, clients *terminal.Clients) *jobv1.Job {
	t.Helper()
	opened := must(t)(clients.Job.OpenJob(ctx, &jobv1.OpenJobRequest{
		RequestId: "opening-0001", Complaint: "rattles since Monday",
		Customer: &jobv1.Customer{Name: "Tilda Quarrow", Contact: "020 7946 0991", Address: "Osier Lane 41, Withybrook"},
		Vehicle: &jobv1.Vehicle{
			Vin: "YMR0RN16ZHA000042", Plate: "QV-77 TST", Catalogue: "marlow-orrin", Features: map[string]string{"body": "hatch", "gearbox": "manual"},
		},
	})).(*jobv1.OpenJobResponse).GetJob()
	if got := opened.GetCustomer().GetName(); got != "Tilda Quarrow" {
		t.Errorf("the answer names %q", got)
	}
	must(t)(clients.Job.ConfirmDiagnosis(ctx, &jobv1.ConfirmDiagnosisRequest{RequestId: "confirm-0001", Job: opened.GetName(), Causes: []string{"coil-4"}}))
	must(t)(clients.Job.AuthoriseWork(ctx, &jobv1.AuthoriseWorkRequest{
		RequestId: "authorise-0001", Job: opened.GetName(), UpTo: &commonv1.Money{MinorUnits: 500_000, CurrencyCode: "EUR"}, GivenBy: "Ansel", How: "telephone",
	}))
	stream, err := clients.Job.WatchJob(ctx, &jobv1.WatchJobRequest{Job: opened.GetName()})
	if err != nil {
		t.Fatal(err)
	}
	for {
		r, err := stream.Recv()
		if err != nil {
			t.Fatal(err)
		}
		if j := r.GetJob(); j.GetBooking().GetWhen() != nil && j.GetAudit() != nil && j.GetParts() != nil {
			if j.GetVehicle().GetPlate() != "QV-77 TST" {
				t.Errorf("who watches sees the plate %q", j.GetVehicle().GetPlate())
			}
			return j
		}
	}
}

// shown is all that the services answer about a job.
func (w *workshop) shown(ctx context.Context, t *testing.T, clients *terminal.Clients, job string) []byte {
	t.Helper()
	var all strings.Builder
	record := must(t)(clients.Audit.GetTighteningRecord(ctx, &torqueauditv1.GetTighteningRecordRequest{Job: job, WithHtml: true})).(*torqueauditv1.GetTighteningRecordResponse)
	all.Write(record.GetJson())
	all.WriteString(record.GetHtml())
	for _, m := range []proto.Message{
		must(t)(clients.Job.GetJob(ctx, &jobv1.GetJobRequest{Job: job})),
		must(t)(clients.Job.ListJobs(ctx, &jobv1.ListJobsRequest{WithFinished: true})),
		must(t)(clients.Job.GetJobHistory(ctx, &jobv1.GetJobHistoryRequest{Job: job})),
		must(t)(clients.Billing.PreviewBilling(ctx, &jobv1.PreviewBillingRequest{Job: job})),
		must(t)(clients.Scheduling.GetBooking(ctx, &schedulingv1.GetBookingRequest{Job: job})),
		must(t)(clients.Audit.GetSheet(ctx, &torqueauditv1.GetSheetRequest{Job: job})),
	} {
		all.WriteString(prototext.Format(m))
	}
	if personal.Sealed(all.String()) {
		t.Errorf("an answer holds sealed text: %s", all.String())
	}
	return []byte(all.String())
}

// must ends the test at an error, and gives the answer otherwise.
func must(t *testing.T) func(proto.Message, error) proto.Message {
	return func(m proto.Message, err error) proto.Message {
		t.Helper()
		if err != nil {
			t.Fatalf("%v (%s)", err, fault.ReasonOf(err))
		}
		return m
	}
}

// files is what lies in a folder, one file after the other.
func files(t *testing.T, dir string) []byte {
	t.Helper()
	var all []byte
	err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
		if err != nil || !d.Type().IsRegular() {
			return err
		}
		content, err := os.ReadFile(path)
		all = append(all, content...)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}

// secrets are the keys of a job, which lie on disk until they are destroyed.
func (w *workshop) secrets(t *testing.T, job string, disk []byte) [][]byte {
	t.Helper()
	store := w.Backend.Log.(interface{ Keys() personal.Store }).Keys()
	var list [][]byte
	for _, e := range w.events(t, "job") {
		for _, id := range personal.IDs(e.Message) {
			about, _ := e.Message.(interface{ GetJob() string })
			if about == nil || about.GetJob() != job {
				continue
			}
			secret, err := store.Get(t.Context(), personal.Name{Site: site, ID: id})
			if err != nil || !bytes.Contains(disk, secret) {
				t.Fatalf("the key %s is not found: %v", id, err)
			}
			list = append(list, secret)
		}
	}
	if len(list) < 2 {
		t.Fatalf("only %d keys were used", len(list))
	}
	return list
}

func (w *workshop) events(t *testing.T, service string) []sitelog.Event {
	t.Helper()
	var all []sitelog.Event
	err := w.Backend.Log.Read(t.Context(), sitelog.Subject{Service: service, Site: site}, 0, func(r sitelog.Record) error {
		events, err := sitelog.EventsOf(r)
		all = append(all, events...)
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}

// forgetsThePaid erases the story's first customer, whose invoice is paid, and
// does not erase the second, whose car is in work.
func (w *workshop) forgetsThePaid(ctx context.Context, t *testing.T, clients *terminal.Clients) {
	t.Helper()
	_, err := clients.Personal.ErasePersonalData(ctx, &jobv1.ErasePersonalDataRequest{RequestId: "letter-0002", Customer: "Otto Wend", Reference: "letter 13/26"})
	if fault.ReasonOf(err) != "NOT_ERASABLE" {
		t.Errorf("a car in work gives %v", err)
	}
	preview := must(t)(clients.Personal.PreviewErasure(ctx, &jobv1.PreviewErasureRequest{Customer: "Marta Quell"})).(*jobv1.PreviewErasureResponse)
	if len(preview.GetJobs()) != 1 || len(preview.GetJobs()[0].GetUnmet()) > 0 || !strings.HasPrefix(preview.GetJobs()[0].GetStays()[0], "invoice ") {
		t.Fatalf("the preview says %v", preview)
	}
	must(t)(clients.Personal.ErasePersonalData(ctx, &jobv1.ErasePersonalDataRequest{RequestId: "letter-0003", Customer: "Marta Quell", Reference: "letter 14/26"}))
	job := must(t)(clients.Job.GetJob(ctx, &jobv1.GetJobRequest{Job: "jobs/1"})).(*jobv1.GetJobResponse).GetJob()
	if job.GetCustomer().GetName() != personal.Erased || job.GetInvoice().GetCustomer().GetName() != "Marta Quell" {
		t.Errorf("the job is of %v, and its invoice to %v", job.GetCustomer(), job.GetInvoice().GetCustomer())
	}
	page := must(t)(clients.Billing.GetInvoiceDocument(ctx, &jobv1.GetInvoiceDocumentRequest{
		Job: "jobs/1", Form: jobv1.DocumentForm_DOCUMENT_FORM_HTML,
	})).(*jobv1.GetInvoiceDocumentResponse)
	if !bytes.Contains(page.GetDocument(), []byte("Marta Quell")) {
		t.Error("the invoice is not whole any more")
	}
}

// onlyInvoicesName demands that a word stands in the logs in what was issued, and in nothing else.
func (w *workshop) onlyInvoicesName(t *testing.T, word string) {
	t.Helper()
	issued := 0
	for _, service := range terminal.RoleNames() {
		for _, e := range w.events(t, service) {
			if !strings.Contains(prototext.Format(e.Message), word) {
				continue
			}
			if _, isInvoice := e.Message.(*jobv1.InvoiceClosed); !isInvoice {
				t.Errorf("a %T in the log of %s names %s", e.Message, service, word)
			}
			issued++
		}
	}
	if issued == 0 {
		t.Errorf("no invoice names %s", word)
	}
}
