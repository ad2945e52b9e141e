package job

import (
	"fmt"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	"ramprow/internal/catalogue"
	"ramprow/internal/engine/teardown/effort"
	"ramprow/internal/platform/sitelog"
	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// halfUp is numerator/denominator rounded half away from zero, for what is not negative.
func halfUp(numerator, denominator int64) int64 {
	return (2*numerator + denominator) / (2 * denominator)
}

// TestInvoiceAddsUp computes the invoice again by hand: the rules of EN 16931
// (tax once per rate, from the sum) at the rate of the demo, 20 %.
func TestInvoiceAddsUp(t *testing.T) {
	s := proved(t, "follower-4")
	plan := s.job().Plan
	invoice, err := s.close(job1)
	if err != nil {
		t.Fatal(err)
	}
	var labour, parts, sold int64
	for _, l := range invoice.GetLines() {
		if l.GetKind() == jobv1.LineKind_LINE_KIND_LABOUR {
			labour += l.GetNet().GetMinorUnits()
			sold += l.GetQuantity()
		} else {
			parts += l.GetNet().GetMinorUnits()
		}
	}
	var agreed time.Duration
	for _, p := range plan.GetSteps() {
		agreed += meanOf(p.GetEffort())
	}
	rate := loaded()[car].Message().GetLabourRateMinorUnits()
	if sold != wholeMinutes(agreed) || labour != halfUp(sold*rate, 60) || labour != plan.GetLabourEstimate().GetMinorUnits() {
		t.Errorf("labour %d for %d min, agreed %d for %d min", labour, sold, plan.GetLabourEstimate().GetMinorUnits(), wholeMinutes(agreed))
	}
	if parts != plan.GetPartsEstimate().GetMinorUnits() {
		t.Errorf("parts %d, estimated %d with the design known", parts, plan.GetPartsEstimate().GetMinorUnits())
	}
	net := labour + parts
	tax := halfUp(net*20, 100)
	if invoice.GetNet().GetMinorUnits() != net || invoice.GetTax().GetMinorUnits() != tax || invoice.GetGross().GetMinorUnits() != net+tax || len(invoice.GetTaxes()) != 1 {
		t.Errorf("net %d tax %d, but the invoice has %v", net, tax, invoice)
	}
	if invoice.GetNumber() != "2026-000001" || invoice.GetIssuedBy() != "ada" || invoice.GetIssuedAt().AsTime() != s.now {
		t.Errorf("issued as %v", invoice)
	}
}

// TestLabourLinesNeverDifferFromTheWhole draws efforts down to the second.
func TestLabourLinesNeverDifferFromTheWhole(t *testing.T) {
	c := loaded()[car]
	rapid.Check(t, func(r *rapid.T) {
		j := &Job{Plan: &jobv1.Plan{LabourEstimate: euros(0)}}
		var whole time.Duration
		for range rapid.IntRange(1, 30).Draw(r, "steps") {
			e := threePoint(effort.ThreePoint{Likely: rapid.Float64Range(0, 40).Draw(r, "minutes")})
			j.Plan.Steps = append(j.Plan.Steps, &jobv1.PlannedStep{Effort: e, Phase: jobv1.Phase(rapid.Int32Range(1, 4).Draw(r, "phase"))})
			whole += meanOf(e)
		}
		var sum, sold int64
		for _, l := range j.soldLabour(c, j.taxes(c)) {
			sum += l.net
			sold += l.quantity
			if l.quantity <= 0 || l.net < 0 {
				r.Fatalf("a line of %v", l)
			}
		}
		if sold != wholeMinutes(whole) || sum != int64(labourPrice(c, sold)) {
			r.Fatalf("lines: %d min for %d, whole: %d min for %d", sold, sum, wholeMinutes(whole), labourPrice(c, wholeMinutes(whole)))
		}
	})
}

// TestOnlyIssuedLinesAreCharged brings one line back before closing.
func TestOnlyIssuedLinesAreCharged(t *testing.T) {
	s := proved(t, "follower-4")
	hold := holdOf(s.job(), issued)
	hold.Lines[0].State = inventoryv1.LineState_LINE_STATE_RETURNED
	s.hear(&inventoryv1.PartsReturned{Hold: hold})
	invoice, err := s.close(job1)
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, l := range invoice.GetLines() {
		if l.GetKind() == jobv1.LineKind_LINE_KIND_PART {
			n++
		}
	}
	if want := len(s.job().Plan.GetParts()) - 1; n != want {
		t.Errorf("%d part lines, want %d", n, want)
	}
}

// TestNumbersAreGapless closes many jobs over two turns of the year.
func TestNumbersAreGapless(t *testing.T) {
	s := newSite(t)
	model := proved(t, "coil-4").job()
	s.now = time.Date(2026, 12, 30, 12, 0, 0, 0, time.UTC)
	want := map[string]int{}
	for i := 1; i <= 60; i++ {
		j := model.clone()
		j.Name, j.Number = jobName(uint64(i)), uint64(i)
		s.st.jobs[j.Name] = j
		if i%3 == 0 { // refused in between: uses no number
			j.Audit = nil
			if _, err := s.close(j.Name); err == nil {
				t.Fatal("closed without an audit")
			}
			continue
		}
		year := s.now.Year()
		series := fmt.Sprint(year)
		want[series]++
		invoice, err := s.close(j.Name)
		if err != nil {
			t.Fatal(err)
		}
		if number := fmt.Sprintf("%s-%06d", series, want[series]); invoice.GetNumber() != number {
			t.Fatalf("job %d got %s, want %s", i, invoice.GetNumber(), number)
		}
		s.wait(13 * 24 * time.Hour)
	}
	if len(want) < 3 {
		t.Fatalf("the years %v were not left behind", want)
	}
}

func paying(s *site, m *commonv1.Money) error {
	events, err := recordPayment(s.job(), &jobv1.RecordPaymentRequest{Amount: m, How: "card"})
	s.commit(events)
	return err
}

func TestPayments(t *testing.T) {
	s := proved(t, "coil-4")
	wantRefusal(t, paying(s, euros(1)), "INVOICE_NOT_CLOSED")
	invoice, err := s.close(job1)
	if err != nil {
		t.Fatal(err)
	}
	gross := invoice.GetGross().GetMinorUnits()
	wantRefusal(t, paying(s, euros(0)), "AMOUNT_RANGE", "amount.minor_units")
	wantRefusal(t, paying(s, euros(gross+1)), "AMOUNT_RANGE", "amount.minor_units")
	wantRefusal(t, paying(s, &commonv1.Money{MinorUnits: 1, CurrencyCode: "CHF"}), "CURRENCY_DIFFERS", "amount.currency_code")
	for _, part := range []int64{gross - 1, 1} {
		if err := paying(s, euros(part)); err != nil {
			t.Fatal(err)
		}
	}
	wantRefusal(t, paying(s, euros(1)), "AMOUNT_RANGE", "amount.minor_units")
	if r := s.job().resource(); r.GetInvoice().GetPaid().GetMinorUnits() != gross || len(r.GetUnmet()) != 0 {
		t.Errorf("paid %v of %d", r.GetInvoice().GetPaid(), gross)
	}
	if s.job().Invoice.GetPaid() != nil {
		t.Error("the closed invoice itself was changed")
	}
}

// TestFinishedJobsRefuse tries everything at a closed and at a cancelled job.
func TestFinishedJobsRefuse(t *testing.T) {
	cancelling := func(j *Job, _ *catalogue.Catalogue, _ sitelog.Input) ([]proto.Message, error) {
		return cancel(j, &jobv1.CancelJobRequest{Reason: "sold"})
	}
	closed, cancelled := proved(t, "coil-4"), ready(t, "coil-4")
	if _, err := closed.close(job1); err != nil {
		t.Fatal(err)
	}
	m := cancelled.do(cancelling)[0].(*jobv1.JobCancelled)
	if m.GetWorkStarted() || cancelled.job().stage() != jobv1.JobState_JOB_STATE_CANCELLED {
		t.Errorf("cancelled as %v", m)
	}
	for _, s := range []*site{closed, cancelled} {
		id := s.job().Plan.GetSteps()[0].GetId()
		for _, d := range []decision{
			confirming("plug-1"), starting(id), finishing(&jobv1.FinishStepRequest{Step: id}), design("bar"), authorising(1),
			reading(afterDrive), driving(true), clearing, explaining("coils", 1), settling(&jobv1.SettleDebrisRequest{}), cancelling,
		} {
			_, err := s.try(d)
			wantRefusal(t, err, "JOB_FINISHED")
		}
		_, err := s.close(job1)
		wantRefusal(t, err, "JOB_FINISHED")
	}
	_, err := cancelled.st.authorisable(job1)
	wantRefusal(t, err, "JOB_FINISHED")
	wantRefusal(t, paying(cancelled, euros(1)), "INVOICE_NOT_CLOSED")
	_, err = closed.tryAt("jobs/9", clearing)
	wantRefusal(t, err, "JOB_NOT_FOUND")
}
