package story

import (
	"context"
	"fmt"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	jobv1 "ramprow/proto/ramprow/job/v1"
)

// What the story plays with, out of the demo catalogue.
const (
	family      = "marlow-orrin"
	missingPart = "MO-4212" // roller followers for two of the three designs
	cause       = "follower-4"
	feature     = "follower-retainer"
	design      = "carrier"
)

// intake opens the job, reads codes and notes what the customer says.
func (t *teller) intake(ctx context.Context) error {
	opened, err := t.clients.Job.OpenJob(t.as(ctx, dispatcher), &jobv1.OpenJobRequest{
		RequestId: once(),
		Vehicle: &jobv1.Vehicle{
			Vin: "YMR0RN16ZHA004711", Plate: "RP-OR 16", Catalogue: family, OdometerKm: 128_400,
			Features: map[string]string{"body": "hatch", "gearbox": "manual"},
			Built:    timestamppb.New(time.Date(2020, 3, 12, 0, 0, 0, 0, time.UTC)), // two designs were built then
		},
		Customer:  &jobv1.Customer{Name: "Marta Quell", Contact: "by telephone", Address: "Mill Lane 3, Farrowby"},
		Complaint: "Shakes at idle and ticks from above since last week.",
	})
	if err != nil {
		return fmt.Errorf("open the job: %w", err)
	}
	t.keep(opened.GetJob(), opened.GetReceipt())
	t.say("The dispatcher opens %s for %s: %q", t.job.GetName(), t.job.GetCustomer().GetName(), t.job.GetComplaint())
	confirmed := uint32(0x2F) // failing, failed this cycle, pending, confirmed, failed since clear
	read, err := t.clients.Job.RecordCodes(t.as(ctx, technician), &jobv1.RecordCodesRequest{
		RequestId: once(), Job: t.job.GetName(), Moment: jobv1.ReadingMoment_READING_MOMENT_INTAKE,
		Codes: []*jobv1.CodeReading{{Code: "P0304", Status: &confirmed}},
	})
	if err != nil {
		return fmt.Errorf("record the codes: %w", err)
	}
	t.keep(read.GetJob(), read.GetReceipt())
	for _, symptom := range []string{"shakes-at-idle", "ticking"} {
		noted, err := t.clients.Job.NoteSymptom(t.as(ctx, technician), &jobv1.NoteSymptomRequest{
			RequestId: once(), Job: t.job.GetName(), Symptom: symptom, Present: true,
		})
		if err != nil {
			return fmt.Errorf("note %s: %w", symptom, err)
		}
		t.keep(noted.GetJob(), noted.GetReceipt())
	}
	t.say("The technician reads P0304 and hears it tick.")
	return nil
}

// diagnose ranks causes, does two tests from above, and confirms.
func (t *teller) diagnose(ctx context.Context) error {
	if err := t.rank(ctx); err != nil {
		return err
	}
	for _, test := range []struct {
		id      string
		outcome jobv1.TestOutcome
	}{
		{"swap-coil", jobv1.TestOutcome_TEST_OUTCOME_NEGATIVE},
		{"listen-valve-cover", jobv1.TestOutcome_TEST_OUTCOME_POSITIVE},
	} {
		r, err := t.clients.Job.RecordTest(t.as(ctx, technician), &jobv1.RecordTestRequest{
			RequestId: once(), Job: t.job.GetName(), Test: test.id, Outcome: test.outcome,
		})
		if err != nil {
			return fmt.Errorf("test %s: %w", test.id, err)
		}
		t.keep(r.GetJob(), r.GetReceipt())
		t.say("Test: %s: %s.", t.car().Test(test.id).GetTitle(), strings.ToLower(strings.TrimPrefix(test.outcome.String(), "TEST_OUTCOME_")))
	}
	return t.rank(ctx)
}

// rank tells the likely causes and what to do next.
func (t *teller) rank(ctx context.Context) error {
	d, err := t.clients.Job.Diagnose(t.as(ctx, technician), &jobv1.DiagnoseRequest{Job: t.job.GetName()})
	if err != nil {
		return fmt.Errorf("diagnose: %w", err)
	}
	for _, c := range d.GetCauses()[:min(3, len(d.GetCauses()))] {
		t.say("%5.1f %%  %s", 100*c.GetProbability(), c.GetTitle())
	}
	if len(d.GetActions()) > 0 {
		a := d.GetActions()[0]
		t.say("Next: %s (%s).", a.GetTitle(), a.GetReason())
	}
	return nil
}
