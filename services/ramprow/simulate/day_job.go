package simulate

import (
	"math/rand/v2"
	"slices"
	"time"

	"google.golang.org/protobuf/types/known/durationpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/platform/simulation"
	commonv1 "ramprow/proto/ramprow/common/v1"
	inventoryv1 "ramprow/proto/ramprow/inventory/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// open takes in one more car. Its design is not known: two were built then.
func (d *day) open(r *rand.Rand, id string) simulation.Request {
	var expected *timestamppb.Timestamp // most are here
	if r.IntN(5) == 0 {
		expected = timestamppb.New(d.began.Add(time.Duration(1+r.IntN(12)) * time.Hour))
	}
	return ask(jobLog, jobv1.JobService_OpenJob_FullMethodName, &jobv1.OpenJobRequest{
		RequestId: id, ExpectedAt: expected,
		Vehicle: &jobv1.Vehicle{
			Vin: "YMR0RN16ZHA004711", Plate: "RP-OR 16", Catalogue: family, OdometerKm: 128_400,
			Features: map[string]string{"cooling": pick(r, []string{"with-air-con", "without"})},
			Built:    timestamppb.New(time.Date(2019, time.January, 9, 0, 0, 0, 0, time.UTC)),
		},
		Customer:  &jobv1.Customer{Name: "Marta Quell"},
		Complaint: "Loses coolant.",
		Priority:  uint32(r.IntN(4)), //nolint:gosec // small
	})
}

// advance is the next thing that makes sense for a car, with a slip now and then.
func (v *visit) advance(r *rand.Rand, id string, d *day) (simulation.Request, bool) {
	j := v.job
	switch slip := r.IntN(d.slips); {
	case slip == 0:
		return ask(jobLog, jobv1.JobService_CloseInvoice_FullMethodName, &jobv1.CloseInvoiceRequest{RequestId: id, Job: j.GetName()}), true
	case slip == 1 && r.IntN(4) == 0:
		return ask(jobLog, jobv1.JobService_CancelJob_FullMethodName, &jobv1.CancelJobRequest{RequestId: id, Job: j.GetName(), Reason: "sold"}), true
	case slip == 2 && r.IntN(3) == 0:
		return v.diagnose(r, id, d), true
	case slip == 3:
		return v.find(r, id, d), true
	case !j.GetReceived() && r.IntN(6) == 0:
		return ask(jobLog, jobv1.JobService_ReceiveVehicle_FullMethodName, &jobv1.ReceiveVehicleRequest{RequestId: id, Job: j.GetName()}), true
	case v.closed:
		return ask(jobLog, jobv1.JobService_RecordPayment_FullMethodName, &jobv1.RecordPaymentRequest{
			RequestId: id, Job: j.GetName(), How: "card", Amount: &commonv1.Money{MinorUnits: 100, CurrencyCode: "EUR"},
		}), true
	case j.GetPlan() == nil && r.IntN(2) > 0:
		return v.examine(r, id, d), true
	case j.GetPlan() == nil:
		return v.diagnose(r, id, d), true
	case j.GetState() == jobv1.JobState_JOB_STATE_AWAITING_AUTHORITY, slip == 4:
		return ask(jobLog, jobv1.JobService_AuthoriseWork_FullMethodName, &jobv1.AuthoriseWorkRequest{
			RequestId: id, Job: j.GetName(), GivenBy: "Marta Quell", How: "telephone",
			UpTo: &commonv1.Money{MinorUnits: int64(1+r.IntN(4)) * 700_00, CurrencyCode: "EUR"},
		}), true
	}
	return v.work(r, id, d), true
}

func (v *visit) examine(r *rand.Rand, id string, d *day) simulation.Request {
	m, job := d.catalogue.Message(), v.job.GetName()
	switch r.IntN(4) {
	case 0:
		return ask(jobLog, jobv1.JobService_RecordCodes_FullMethodName, &jobv1.RecordCodesRequest{
			RequestId: id, Job: job, Moment: jobv1.ReadingMoment_READING_MOMENT_INTAKE,
			Codes: []*jobv1.CodeReading{{Code: pick(r, m.GetCodes()).GetCode()}},
		})
	case 1:
		return ask(jobLog, jobv1.JobService_NoteSymptom_FullMethodName, &jobv1.NoteSymptomRequest{
			RequestId: id, Job: job, Symptom: pick(r, m.GetSymptoms()).GetId(), Present: r.IntN(2) == 0,
		})
	case 2:
		return ask(jobLog, jobv1.JobService_WithdrawEvidence_FullMethodName, &jobv1.WithdrawEvidenceRequest{
			RequestId: id, Job: job, Symptom: pick(r, m.GetSymptoms()).GetId(), Reason: "misheard",
		})
	}
	return ask(jobLog, jobv1.JobService_RecordTest_FullMethodName, &jobv1.RecordTestRequest{
		RequestId: id, Job: job, Test: pick(r, m.GetTests()).GetId(),
		Outcome: pick(r, []jobv1.TestOutcome{jobv1.TestOutcome_TEST_OUTCOME_POSITIVE, jobv1.TestOutcome_TEST_OUTCOME_NEGATIVE}),
	})
}

// diagnose prefers short repairs, so that some cars get as far as an invoice.
func (v *visit) diagnose(r *rand.Rand, id string, d *day) simulation.Request {
	cause := pick(r, []string{"sensor-open", "thermostat-stuck-open", "hose-split", "sensor-open", "pump-leaks"})
	if r.IntN(4) == 0 {
		cause = pick(r, d.catalogue.Message().GetCauses()).GetId()
	}
	return ask(jobLog, jobv1.JobService_ConfirmDiagnosis_FullMethodName, &jobv1.ConfirmDiagnosisRequest{
		RequestId: id, Job: v.job.GetName(), Causes: []string{cause}, Reason: "seen",
	})
}

func (v *visit) find(r *rand.Rand, id string, d *day) simulation.Request {
	request := &jobv1.ReportFindingRequest{
		RequestId: id, Job: v.job.GetName(), Kind: jobv1.FindingKind_FINDING_KIND_DESIGN,
		Feature: "pump-seat", Value: pick(r, []string{"flat", "stepped"}),
	}
	if r.IntN(3) == 0 {
		request.Kind, request.Feature, request.Value = jobv1.FindingKind_FINDING_KIND_SECOND_FAULT, "", ""
		request.Cause, request.Note = pick(r, d.catalogue.Message().GetCauses()).GetId(), "seen as well"
	}
	return ask(jobLog, jobv1.JobService_ReportFinding_FullMethodName, request)
}

// work goes on at the car: parts, steps, joints, and the proof at the end.
func (v *visit) work(r *rand.Rand, id string, d *day) simulation.Request {
	step, started := v.nextStep()
	switch joint := v.jointToTighten(); {
	case joint != nil && (step == nil || r.IntN(3) > 0):
		return v.tighten(r, id, joint)
	case step == nil:
		return v.prove(r, id)
	case !started && len(step.GetPartLines()) > 0 && !v.issued(step.GetPartLines()) && r.IntN(3) > 0:
		return ask(stockLog, inventoryv1.InventoryService_IssueParts_FullMethodName, &inventoryv1.IssuePartsRequest{RequestId: id, Job: v.job.GetName()})
	case !started && r.IntN(12) == 0:
		return v.find(r, id, d)
	case !started:
		return ask(jobLog, jobv1.JobService_StartStep_FullMethodName, &jobv1.StartStepRequest{RequestId: id, Job: v.job.GetName(), Step: step.GetId()})
	case r.IntN(15) == 0:
		return ask(jobLog, jobv1.JobService_PauseStep_FullMethodName, &jobv1.PauseStepRequest{RequestId: id, Job: v.job.GetName(), Step: step.GetId(), Reason: "lunch"})
	case v.state(step.GetId()) == jobv1.StepState_STEP_STATE_PAUSED:
		return ask(jobLog, jobv1.JobService_ResumeStep_FullMethodName, &jobv1.ResumeStepRequest{RequestId: id, Job: v.job.GetName(), Step: step.GetId()})
	}
	return ask(jobLog, jobv1.JobService_FinishStep_FullMethodName, &jobv1.FinishStepRequest{
		RequestId: id, Job: v.job.GetName(), Step: step.GetId(), Worked: durationpb.New(4 * time.Minute),
	})
}

func (v *visit) issued(lines []string) bool {
	out := slices.Clone(v.job.GetParts().GetIssuedLines())
	for _, l := range v.hold.GetLines() {
		if l.GetState() == inventoryv1.LineState_LINE_STATE_ISSUED {
			out = append(out, l.GetLine())
		}
	}
	return !slices.ContainsFunc(lines, func(l string) bool { return !slices.Contains(out, l) })
}

func (v *visit) state(step string) jobv1.StepState {
	for _, p := range v.job.GetProgress() {
		if p.GetStep() == step {
			return p.GetState()
		}
	}
	return jobv1.StepState_STEP_STATE_PLANNED
}

// nextStep is the first step that is under way, or could be.
func (v *visit) nextStep() (step *jobv1.PlannedStep, started bool) {
	for _, s := range v.job.GetPlan().GetSteps() {
		switch v.state(s.GetId()) {
		case jobv1.StepState_STEP_STATE_DONE:
			continue
		case jobv1.StepState_STEP_STATE_STARTED, jobv1.StepState_STEP_STATE_PAUSED:
			return s, true
		case jobv1.StepState_STEP_STATE_UNSPECIFIED, jobv1.StepState_STEP_STATE_PLANNED, jobv1.StepState_STEP_STATE_DROPPED:
		}
		ready := !slices.ContainsFunc(s.GetAfter(), func(before string) bool { return v.state(before) != jobv1.StepState_STEP_STATE_DONE })
		if ready && step == nil {
			step = s
		}
	}
	return step, false
}
