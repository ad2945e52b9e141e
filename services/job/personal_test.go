package job

import (
	"context"
	"encoding/json"
	"errors"
	"slices"
	"strings"
	"sync/atomic"
	"testing"

	"google.golang.org/protobuf/encoding/prototext"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/personal"
	"ramprow/internal/platform/readmodel/readmodeltest"
	"ramprow/internal/platform/shelf"
	"ramprow/internal/platform/sitelog"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// stubborn is a store that may refuse to destroy keys, or have lost them. It
// cannot be watched, so that no vault keeps any at hand.
type stubborn struct {
	*personal.Memory

	refuses, lost atomic.Bool
}

func (s *stubborn) Get(ctx context.Context, n personal.Name) ([]byte, error) {
	if s.lost.Load() {
		return nil, personal.ErrNone
	}
	return s.Memory.Get(ctx, n)
}

// revive brings the keys back as an old copy would.
func (s *stubborn) revive(ctx context.Context, t *testing.T) {
	t.Helper()
	s.Memory = &personal.Memory{}
	for _, id := range []string{keyOfJob(job1), keyOfOpening("request-000003")} {
		if err := s.Create(ctx, personal.Name{Site: "north", ID: id}, make([]byte, 32)); err != nil {
			t.Fatal(err)
		}
	}
}

func (s *stubborn) Watch(context.Context, func(), func(personal.Name)) error {
	return errors.New("no watch")
}

func (s *stubborn) Destroy(ctx context.Context, n personal.Name) error {
	if s.refuses.Load() {
		return errors.New("no answer")
	}
	return s.Memory.Destroy(ctx, n)
}

// words are what says who the customer is, in the test's job.
func words() []string {
	return []string{"Tilda Quarrow", "020 7946 0991", "Osier Lane", "QV-77 TST", vin, "rattles since", "Ansel", "by his own hand", "Quarrow & Venn", "tilda@"}
}

// given opens and bills a job of a person with all that may be known of her.
func (b *bench) given() (billing jobv1.BillingServiceClient, people jobv1.PersonalDataServiceClient) {
	b.t.Helper()
	b.furnish()
	billing, people = jobv1.NewBillingServiceClient(b.conn), jobv1.NewPersonalDataServiceClient(b.conn)
	req := intake()
	req.Vehicle.Plate, req.Complaint = "QV-77 TST", "rattles since Monday"
	req.Customer = &jobv1.Customer{Name: "Tilda Quarrow", Contact: "020 7946 0991", Address: "Osier Lane 41, Withybrook"}
	call(b, b.client.OpenJob, req)
	call(b, b.client.ConfirmDiagnosis, &jobv1.ConfirmDiagnosisRequest{Job: job1, Causes: []string{"follower-4"}})
	call(b, b.client.AuthoriseWork, &jobv1.AuthoriseWorkRequest{Job: job1, UpTo: euros(100_000), GivenBy: "Ansel", How: "by his own hand"})
	payer := fleet(payerCustomer)
	payer.Party.Name, payer.Party.Email, payer.Party.Phone = "Quarrow & Venn", "tilda@venn.example", "020 7946 0991"
	call(b, billing.SetBilling, &jobv1.SetBillingRequest{Job: job1, Billing: &jobv1.Billing{Payers: []*jobv1.Payer{payer}}})
	return billing, people
}

// found gives those words that stand in a text.
func found(text string) []string {
	var list []string
	for _, w := range words() {
		if strings.Contains(text, w) {
			list = append(list, w)
		}
	}
	return list
}

// atRest is all that is kept: the bytes of the log, its archive unpacked, and Redis.
func (b *bench) atRest() string {
	b.t.Helper()
	var all strings.Builder
	b.must(b.log.Read(b.ctx, sitelog.Subject{Service: Service, Site: "north"}, 0, func(r sitelog.Record) error {
		all.Write(r.Data)
		return nil
	}))
	return all.String() + readmodeltest.Contents(b.ctx, b.t, b.redis)
}

// shown is all that people see of the job.
func (b *bench) shown(billing jobv1.BillingServiceClient) string {
	b.t.Helper()
	var all strings.Builder
	job := call(b, b.client.GetJob, &jobv1.GetJobRequest{Job: job1})
	list := call(b, b.client.ListJobs, &jobv1.ListJobsRequest{WithFinished: true})
	story := call(b, b.client.GetJobHistory, &jobv1.GetJobHistoryRequest{Job: job1})
	preview := call(b, billing.PreviewBilling, &jobv1.PreviewBillingRequest{Job: job1})
	all.WriteString(prototext.Format(job) + prototext.Format(list) + prototext.Format(story) + prototext.Format(preview))
	if strings.Contains(all.String(), "{sealed") {
		b.t.Errorf("an answer holds sealed text: %s", all.String())
	}
	return all.String()
}

func TestErasure(t *testing.T) {
	b := newBench(t)
	billing, people := b.given()
	if got := found(b.atRest()); len(got) > 0 {
		t.Errorf("%q are kept in plain words", got)
	}
	if got := found(b.shown(billing)); !slices.Equal(got, words()) {
		t.Errorf("people see %q", got)
	}
	file := call(b, people.ExportPersonalData, &jobv1.ExportPersonalDataRequest{Customer: " tilda quarrow "})
	if got := found(string(file.GetDocument())); !json.Valid(file.GetDocument()) || len(got) != len(words())-1 || slices.Contains(got, "Quarrow & Venn") {
		t.Errorf("the export has %q in %s", got, file.GetDocument()) // JSON writes & as \u0026
	}
	if !strings.Contains(string(file.GetDocument()), `Quarrow \u0026 Venn`) {
		t.Error("the export lacks the billed party")
	}

	order := &jobv1.ErasePersonalDataRequest{RequestId: "letter-0001", Customer: "Tilda Quarrow", Reference: "letter 12/26"}
	_, err := people.ErasePersonalData(b.ctx, order)
	if fault.ReasonOf(err) != "NOT_ERASABLE" || lacking(err) != "JOB_OPEN" {
		t.Fatalf("an open job gives %v", err)
	}
	call(b, b.client.CancelJob, &jobv1.CancelJobRequest{Job: job1, Reason: "not worth it"})
	would := call(b, people.PreviewErasure, &jobv1.PreviewErasureRequest{Customer: "Tilda Quarrow"}).GetJobs()
	if len(would) != 1 || would[0].GetPlate() != "QV-77 TST" || len(would[0].GetUnmet()) > 0 || len(would[0].GetGoes()) != 5 || len(would[0].GetStays()) != 2 {
		t.Errorf("it would be %v", would)
	}

	// The keys cannot be destroyed: the log has it, the same request goes on, and ends the same.
	b.store.refuses.Store(true)
	if _, err := people.ErasePersonalData(b.ctx, order); fault.ReasonOf(err) != "ERASURE_UNFINISHED" {
		t.Fatalf("keys that stay give %v", err)
	}
	b.store.refuses.Store(false)
	for repeated := range 2 {
		done, err := people.ErasePersonalData(b.ctx, order)
		if err != nil || !slices.Equal(done.GetJobs(), []string{job1}) || !done.GetReceipt().GetRepeatedAnswer() {
			t.Fatalf("try %d ends with %v (%v)", repeated, done, err)
		}
	}
	if got := found(b.shown(billing) + b.atRest()); len(got) > 0 {
		t.Errorf("after the erasure there are %q", got)
	}
	after := call(b, b.client.GetJob, &jobv1.GetJobRequest{Job: job1}).GetJob()
	if !after.GetPersonalDataErased() || after.GetCustomer().GetName() != personal.Erased || after.GetVehicle().GetCatalogue() != car || after.GetVehicle().GetPseudonym() != "" {
		t.Errorf("the job is %v", after)
	}
	for id := range idsOf(b) {
		if _, err := b.keys.Find(b.ctx, "north", id); !errors.Is(err, personal.ErrDestroyed) {
			t.Errorf("the key %s is there: %v", id, err)
		}
	}

	b.store.revive(b.ctx, t)
	back := &jobv1.ErasePersonalDataRequest{RequestId: "copy-0001", Customer: personal.Erased, Reference: "copy brought back"}
	if done, err := people.ErasePersonalData(b.ctx, back); err != nil || !slices.Equal(done.GetJobs(), []string{job1}) {
		t.Errorf("keys that came back are destroyed with %v (%v)", done, err)
	}
	for id := range idsOf(b) {
		if _, err := b.keys.Find(b.ctx, "north", id); !errors.Is(err, personal.ErrDestroyed) {
			t.Errorf("the key %s came back: %v", id, err)
		}
	}

	again := &jobv1.ErasePersonalDataRequest{RequestId: "letter-0002", Customer: "Tilda Quarrow", Reference: "letter 13/26"}
	if _, err := people.ErasePersonalData(b.ctx, again); fault.ReasonOf(err) != "CUSTOMER_NOT_FOUND" {
		t.Errorf("a second order gives %v", err)
	}
	first := intake()
	first.RequestId = "request-000003" // the opening's: the catalogues came before it
	if _, err := b.client.OpenJob(b.ctx, first); fault.ReasonOf(err) != "PERSONAL_DATA_ERASED" {
		t.Errorf("the opening again gives %v", err)
	}
}

// A car has the same pseudonym in each of its jobs, also if an opening is sent
// again; a customer's erasure takes it from the job, and other jobs of the car keep it.
func TestPseudonyms(t *testing.T) {
	b := newBench(t)
	b.furnish()
	opened := func(requestID, vin string) string {
		req := intake()
		req.RequestId, req.Vehicle.Vin = requestID, vin
		p := call(b, b.client.OpenJob, req).GetJob().GetVehicle().GetPseudonym()
		if len(p) != 32 {
			t.Fatalf("the pseudonym is %q", p)
		}
		return p
	}
	first := opened("visit-0001", vin)
	if again := opened("visit-0001", vin); again != first {
		t.Errorf("the same opening gives %q after %q", again, first)
	}
	if second := opened("visit-0002", strings.ToLower(vin)); second != first {
		t.Errorf("the second visit has %q, the first %q", second, first)
	}
	if other := opened("visit-0003", "YMR0RN16ZHA000043"); other == first {
		t.Errorf("another car has %q, too", other)
	}
	if !strings.Contains(b.atRest(), first) {
		t.Error("the log lacks the pseudonym")
	}
	given := intake()
	given.RequestId, given.Vehicle.Pseudonym = "visit-0004", first
	if _, err := b.client.OpenJob(b.ctx, given); fault.KindOf(err) != fault.Invalid {
		t.Errorf("a pseudonym from outside gives %v", err)
	}
}

// lacking is what an erasure lacks.
func lacking(err error) string {
	f, ok := errors.AsType[*fault.Error](err)
	if !ok || len(f.Unmet) != 1 {
		return ""
	}
	return f.Unmet[0].Type
}

// idsOf are the keys that the log's events name.
func idsOf(b *bench) map[string]bool {
	ids := map[string]bool{}
	b.must(b.log.Read(b.ctx, sitelog.Subject{Service: Service, Site: "north"}, 0, func(r sitelog.Record) error {
		events, err := sitelog.EventsOf(r)
		for _, e := range events {
			for _, id := range personal.IDs(e.Message) {
				ids[id] = true
			}
		}
		return err
	}))
	if len(ids) != 2 {
		b.t.Errorf("the log is sealed under %v", ids)
	}
	return ids
}

// A repeated command is found by its sealed form; another content is refused.
func TestRepeatedCommandsWithPersonalData(t *testing.T) {
	b := newBench(t)
	b.furnish()
	req := intake()
	req.RequestId = "opening-0001"
	first, err := b.client.OpenJob(b.ctx, req)
	b.must(err)
	again, err := b.client.OpenJob(b.ctx, req)
	if err != nil || !again.GetReceipt().GetRepeatedAnswer() || again.GetJob().GetName() != first.GetJob().GetName() {
		t.Errorf("again it is %v (%v)", again, err)
	}
	req.Customer.Name = "Marta Quelle"
	if _, err := b.client.OpenJob(b.ctx, req); fault.ReasonOf(err) != sitelog.ReasonReused {
		t.Errorf("another name under the same request gives %v", err)
	}
	if list := call(b, b.client.ListJobs, &jobv1.ListJobsRequest{}); len(list.GetJobs()) != 1 {
		t.Errorf("there are %v", list)
	}
}

// A lost key withholds a name and nothing else; what needs the name says what to do.
func TestLostKeys(t *testing.T) {
	b := newBench(t)
	billing, _ := b.given()
	b.store.lost.Store(true)
	if got := found(b.shown(billing)); len(got) > 0 {
		t.Errorf("without keys people see %q", got)
	}
	job := call(b, b.client.GetJob, &jobv1.GetJobRequest{Job: job1}).GetJob()
	if job.GetCustomer().GetName() != personal.Unreadable || job.GetPlan() == nil {
		t.Errorf("the job is %v", job.GetCustomer())
	}
	if _, err := b.client.CloseInvoice(b.ctx, &jobv1.CloseInvoiceRequest{RequestId: b.once(), Job: job1}); fault.ReasonOf(err) != "PERSONAL_KEY_MISSING" {
		t.Errorf("closing gives %v", err)
	}
	b.store.lost.Store(false)
	if got := found(b.shown(billing)); !slices.Equal(got, words()) {
		t.Errorf("with the keys back people see %q", got)
	}
}

// Money that is owed and an open look-back keep a job from being erased.
func TestErasureWaits(t *testing.T) {
	s := proved(t, "follower-4")
	s.sell()
	invoice, err := s.close(job1)
	if err != nil {
		t.Fatal(err)
	}
	s.rest(shelf.Rest)
	_, err = s.st.job(job1)
	s.recall(err)
	events, _, err := erasePersonalData(s.job(), "letter")
	if fault.ReasonOf(err) != "NOT_ERASABLE" || len(events) > 0 || lacking(err) != "INVOICE_UNPAID" {
		t.Fatalf("an unpaid invoice gives %v", err)
	}
	paying, err := recordPayment(s.job(), &jobv1.RecordPaymentRequest{Amount: invoice.GetPayable(), How: "card"})
	if err != nil {
		t.Fatal(err)
	}
	s.commit(paying)
	before := s.job().Invoice
	events, erased, err := erasePersonalData(s.job(), "letter")
	if err != nil || len(events) != 1 || !slices.Equal(erased.GetKeys(), []string{"j1"}) {
		t.Fatalf("a paid invoice gives %v (%v)", erased, err)
	}
	s.commit(events)

	// This job was never sealed: state and story lose the words all the same, the invoice keeps them.
	kept := s.job().record()
	if kept.GetInvoice() != before || kept.GetInvoice().GetCustomer().GetName() != "Marta Quell" || kept.GetInvoice().GetCustomer().GetContact() != "" {
		t.Errorf("the invoice is %v", kept.GetInvoice().GetCustomer())
	}
	kept.Invoice, kept.Invoices = nil, nil
	for _, word := range []string{"Marta Quell", "RP-OR 16", vin, "shakes"} {
		if text := prototext.Format(kept); strings.Contains(text, word) {
			t.Errorf("%s is kept", word)
		}
	}
	if again, _, err := erasePersonalData(s.job(), "other"); err != nil || len(again) > 0 {
		t.Errorf("once more brings %v (%v)", again, err)
	}
	if _, err := s.correct(invoice.GetNumber(), &jobv1.Billing{}); fault.ReasonOf(err) != "PERSONAL_DATA_ERASED" {
		t.Errorf("a correction gives %v", err)
	}
	if _, err := s.credit(invoice.GetNumber()); err != nil {
		t.Errorf("a credit note gives %v", err)
	}
}
