package demoday

import (
	"context"
	"fmt"
	"math/rand/v2"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/catalogue"
	cataloguev1 "ramprow/proto/ramprow/catalogue/v1"
	commonv1 "ramprow/proto/ramprow/common/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

const oneMinute = time.Minute

// visit is one car on its way through the workshop.
type visit struct {
	r         *rand.Rand
	catalogue *catalogue.Catalogue
	cause     *cataloguev1.Cause
	plate     string
	customer  string
	designs   map[string]string // what the car turns out to have
	job       *jobv1.Job
	revision  uint64 // the newest of the job's log that the people at this car caused
}

var (
	givenNames  = []string{"Marta", "Jonas", "Edda", "Piet", "Livia", "Oskar", "Nora", "Emil", "Greta", "Anton", "Wanda", "Felix"}
	familyNames = []string{"Quell", "Abendroth", "Sorley", "Vantage", "Marlin", "Heath", "Corvin", "Dale", "Orme", "Tarn"}
)

// arrival makes up a car from the seed and its number alone.
func (d *day) arrival(number int) *visit {
	r := rand.New(rand.NewPCG(d.Seed, uint64(number)+1000)) //nolint:gosec // small
	v := &visit{
		r: r, catalogue: pick(r, d.catalogues), designs: map[string]string{},
		plate:    fmt.Sprintf("%c%c-%c %d", 'A'+r.IntN(26), 'A'+r.IntN(26), 'A'+r.IntN(26), 10+r.IntN(990)),
		customer: pick(r, givenNames) + " " + pick(r, familyNames),
	}
	v.cause = v.likelyCause()
	return v
}

func pick[T any](r *rand.Rand, list []T) T { return list[r.IntN(len(list))] }

// likelyCause draws a cause as often as it happens.
func (v *visit) likelyCause() *cataloguev1.Cause {
	causes := v.catalogue.Message().GetCauses()
	var sum float64
	for _, c := range causes {
		sum += c.GetPrior()
	}
	at := v.r.Float64() * sum
	for _, c := range causes {
		if at -= c.GetPrior(); at <= 0 && len(c.GetWhen()) == 0 {
			return c
		}
	}
	return causes[0]
}

// visit brings a car from its arrival to payment.
func (d *day) visit(ctx context.Context, v *visit) {
	for _, stage := range []func(context.Context, *visit) error{d.takeIn, d.examine, d.agree, d.repair, d.prove, d.bill} {
		if err := stage(ctx, v); err != nil {
			if ctx.Err() == nil {
				d.Note("%s %s: %v", v.job.GetName(), v.plate, err)
			}
			return
		}
	}
}

func (d *day) takeIn(ctx context.Context, v *visit) error {
	m := v.catalogue.Message()
	features := map[string]string{}
	for _, f := range m.GetFeatures() {
		value := v.drawValue(f)
		if f.GetKind() == cataloguev1.Feature_KIND_DESIGN {
			v.designs[f.GetId()] = value
		} else {
			features[f.GetId()] = value
		}
	}
	complaint := v.cause.GetTitle()
	if len(v.cause.GetSymptoms()) > 0 {
		if s := v.catalogue.Symptom(v.cause.GetSymptoms()[0].GetOf()); s != nil {
			complaint = s.GetTitle()
		}
	}
	r, err := d.Clients.Job.OpenJob(d.as(ctx, dispatcher), &jobv1.OpenJobRequest{
		RequestId: once(), Complaint: complaint, Priority: uint32(v.r.IntN(3)), //nolint:gosec // small
		Vehicle: &jobv1.Vehicle{
			Vin: fmt.Sprintf("YMR0RN16ZHA0%05d", v.r.IntN(100000)), Plate: v.plate, Catalogue: m.GetId(), OdometerKm: 20_000 + v.r.Int64N(180_000), Features: features,
		},
		Customer: &jobv1.Customer{Name: v.customer, Contact: "by telephone"},
		WantedBy: timestamppb.New(d.Clock.Now().Add(time.Duration(8+v.r.IntN(24)) * time.Hour)),
	})
	v.job = r.GetJob()
	return err
}

// drawValue draws what a car has of a feature, by how many have it.
func (v *visit) drawValue(f *cataloguev1.Feature) string {
	at := v.r.Float64()
	for _, value := range f.GetValues() {
		if at -= value.GetShare(); at <= 0 {
			return value.GetId()
		}
	}
	return f.GetValues()[0].GetId()
}

// examine reads the codes that the cause brings, notes its symptoms, and confirms.
func (d *day) examine(ctx context.Context, v *visit) error {
	by := d.as(ctx, pick(v.r, technicians))
	if err := d.Clock.wait(ctx, v.minutes(6, 25)); err != nil {
		return err
	}
	var codes []*jobv1.CodeReading
	confirmed := uint32(0x2F) // failing now, failed this cycle, pending, confirmed, failed since clearing: ISO 14229-1
	for _, e := range v.cause.GetCodes() {
		if v.r.Float64() < e.GetProbability() {
			codes = append(codes, &jobv1.CodeReading{Code: e.GetOf(), Status: &confirmed})
		}
	}
	if _, err := d.Clients.Job.RecordCodes(by, &jobv1.RecordCodesRequest{
		RequestId: once(), Job: v.job.GetName(), Moment: jobv1.ReadingMoment_READING_MOMENT_INTAKE, Codes: codes,
	}); err != nil {
		return err
	}
	for _, e := range v.cause.GetSymptoms() {
		if _, err := d.Clients.Job.NoteSymptom(by, &jobv1.NoteSymptomRequest{
			RequestId: once(), Job: v.job.GetName(), Symptom: e.GetOf(), Present: v.r.Float64() < e.GetProbability(),
		}); err != nil {
			return err
		}
	}
	if err := d.Clock.wait(ctx, v.minutes(10, 40)); err != nil {
		return err
	}
	r, err := d.Clients.Job.ConfirmDiagnosis(by, &jobv1.ConfirmDiagnosisRequest{RequestId: once(), Job: v.job.GetName(), Causes: []string{v.cause.GetId()}})
	v.job = r.GetJob()
	return err
}

// agree asks the customer, who says yes after a while.
func (d *day) agree(ctx context.Context, v *visit) error {
	if err := d.Clock.wait(ctx, v.minutes(5, 60)); err != nil {
		return err
	}
	plan := v.job.GetPlan()
	total := plan.GetLabourEstimate().GetMinorUnits() + plan.GetPartsEstimate().GetMinorUnits()
	r, err := d.Clients.Job.AuthoriseWork(d.as(ctx, dispatcher), &jobv1.AuthoriseWorkRequest{
		RequestId: once(), Job: v.job.GetName(), GivenBy: v.customer, How: "telephone",
		UpTo: &commonv1.Money{MinorUnits: (total/5000 + 3) * 5000, CurrencyCode: plan.GetLabourEstimate().GetCurrencyCode()},
	})
	v.job = r.GetJob()
	return err
}

// minutes draws a time between two.
func (v *visit) minutes(least, most int) time.Duration {
	return time.Duration((float64(least) + v.r.Float64()*float64(most-least)) * float64(time.Minute))
}
