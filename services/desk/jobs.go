package desk

import (
	"strings"

	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/platform/identity"
	commonv1 "ramprow/proto/ramprow/common/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

func (d *Desk) showJobs(v *visit) error {
	r, err := d.Services.Job.ListJobs(v.ctx, &jobv1.ListJobsRequest{
		PageSize: 100, MinRevision: v.at(), PageToken: v.r.URL.Query().Get("after"), WithFinished: v.r.URL.Query().Get("finished") != "",
	})
	if err != nil {
		return err
	}
	return v.render("jobs", struct {
		Jobs     []*jobv1.JobSummary
		Next     string
		Finished bool
	}{r.GetJobs(), r.GetNextPageToken(), v.r.URL.Query().Get("finished") != ""})
}

// jobView is a job with what stands between it and its invoice.
type jobView struct {
	Job     *jobv1.Job
	Invoice *jobv1.Invoice
	Unmet   []*jobv1.UnmetCondition
	// MayBill is true for those who see money.
	MayBill bool
	// Estimate is what to ask the customer for.
	Estimate *commonv1.Money
}

func (d *Desk) showJob(v *visit) error {
	r, err := d.Services.Job.GetJob(v.ctx, &jobv1.GetJobRequest{Job: v.job(), MinRevision: v.at()})
	if err != nil {
		return err
	}
	view := jobView{Job: r.GetJob(), MayBill: v.who.Has(identity.Dispatcher)}
	plan := view.Job.GetPlan()
	if plan != nil {
		view.Estimate = &commonv1.Money{
			MinorUnits:   plan.GetLabourEstimate().GetMinorUnits() + plan.GetPartsEstimate().GetMinorUnits(),
			CurrencyCode: plan.GetLabourEstimate().GetCurrencyCode(),
		}
	}
	open := view.Job.GetState() != jobv1.JobState_JOB_STATE_CANCELLED && view.Job.GetInvoice() == nil
	if view.MayBill && plan != nil && open {
		p, err := d.Services.Job.PreviewInvoice(v.ctx, &jobv1.PreviewInvoiceRequest{Job: v.job(), MinRevision: v.at()})
		if err != nil {
			return err
		}
		view.Invoice, view.Unmet = p.GetInvoice(), p.GetUnmet()
	}
	if view.Invoice == nil {
		view.Invoice = view.Job.GetInvoice()
	}
	return v.render("job", view)
}

func (d *Desk) receiveCar(v *visit) error {
	km, err := v.whole("odometer")
	if err != nil {
		return err
	}
	r, err := d.Services.Job.ReceiveVehicle(v.ctx, &jobv1.ReceiveVehicleRequest{RequestId: v.requestID(), Job: v.job(), OdometerKm: km})
	if err != nil {
		return err
	}
	return v.done("/jobs/"+v.r.PathValue("job"), "arrived", r.GetReceipt())
}

func (d *Desk) authorise(v *visit) error {
	upTo, err := v.money("upto", v.form("currency"))
	if err != nil {
		return err
	}
	r, err := d.Services.Job.AuthoriseWork(v.ctx, &jobv1.AuthoriseWorkRequest{
		RequestId: v.requestID(), Job: v.job(), UpTo: upTo, GivenBy: v.form("by"), How: v.form("how"),
	})
	if err != nil {
		return err
	}
	return v.done("/jobs/"+v.r.PathValue("job"), "authorised", r.GetReceipt())
}

func (d *Desk) closeInvoice(v *visit) error {
	r, err := d.Services.Job.CloseInvoice(v.ctx, &jobv1.CloseInvoiceRequest{RequestId: v.requestID(), Job: v.job()})
	if err != nil {
		return err
	}
	return v.done("/jobs/"+v.r.PathValue("job"), "invoiced", r.GetReceipt())
}

// intakeView is the form for a car that comes.
type intakeView struct{ Catalogues []*jobv1.CatalogueSummary }

func (d *Desk) showIntake(v *visit) error {
	r, err := d.Services.Job.ListCatalogues(v.ctx, &jobv1.ListCataloguesRequest{})
	if err != nil {
		return err
	}
	return v.render("intake", intakeView{Catalogues: r.GetCatalogues()})
}

func (d *Desk) openJob(v *visit) error {
	km, err := v.whole("odometer")
	if err != nil {
		return err
	}
	request := &jobv1.OpenJobRequest{
		RequestId: v.requestID(),
		Vehicle: &jobv1.Vehicle{
			Vin: strings.ToUpper(v.form("vin")), Plate: v.form("plate"), Catalogue: v.form("catalogue"), OdometerKm: km,
			Features: features(v.form("features")),
		},
		Customer:  &jobv1.Customer{Name: v.form("customer"), Contact: v.form("contact"), Address: v.form("address")},
		Complaint: v.form("complaint"),
	}
	expected, err := v.moment("expected")
	if err != nil {
		return err
	}
	wanted, err := v.moment("wanted")
	if err != nil {
		return err
	}
	if !expected.IsZero() {
		request.ExpectedAt = timestamppb.New(expected)
	}
	if !wanted.IsZero() {
		request.WantedBy = timestamppb.New(wanted)
	}
	r, err := d.Services.Job.OpenJob(v.ctx, request)
	if err != nil {
		return err
	}
	return v.done("/"+r.GetJob().GetName(), "opened", r.GetReceipt())
}

// features reads lines as in body=saloon.
func features(text string) map[string]string {
	found := map[string]string{}
	for line := range strings.Lines(text) {
		if name, value, ok := strings.Cut(strings.TrimSpace(line), "="); ok {
			found[strings.TrimSpace(name)] = strings.TrimSpace(value)
		}
	}
	return found
}
