package desk

import (
	"slices"
	"strings"

	"google.golang.org/protobuf/encoding/protojson"

	"ramprow/internal/platform/fault"
	cataloguev1 "ramprow/proto/ramprow/catalogue/v1"
	commonv1 "ramprow/proto/ramprow/common/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// diagnosisView is what is known of a car, what it may be, and what to do next.
type diagnosisView struct {
	Job       *jobv1.Job
	Catalogue *cataloguev1.Catalogue
	Codes     []knownCode
	Symptoms  []knownSymptom
	Tests     []knownTest
	Answer    *jobv1.DiagnoseResponse
	// Chosen are the causes whose ways are compared.
	Chosen []string
	Ways   []wayRow
	// Authorised is the customer's last word; nil: none.
	Authorised *commonv1.Money
}

type knownCode struct {
	*jobv1.CodeReading

	Title  string
	Moment jobv1.ReadingMoment
}

type knownSymptom struct {
	*jobv1.SymptomNote

	Title string
}

type knownTest struct {
	*jobv1.TestRecord

	Title string
}

// wayRow is one way to open the car, with what its choice sends.
type wayRow struct {
	*jobv1.PlanAlternative

	Choice string // the way as JSON
	// Over says that it costs more than the customer has agreed to.
	Over bool
}

func (d *Desk) showDiagnosis(v *visit) error {
	r, err := d.Services.Job.GetJob(v.ctx, &jobv1.GetJobRequest{Job: v.job(), MinRevision: v.at()})
	if err != nil {
		return err
	}
	view := diagnosisView{Job: r.GetJob()}
	if view.Catalogue, err = d.vehicles.edition(v.ctx, v.who.Site, view.Job.GetCatalogueVersion()); err != nil {
		return err
	}
	view.known()
	if view.Answer, err = d.Services.Job.Diagnose(v.ctx, &jobv1.DiagnoseRequest{Job: v.job(), MinRevision: v.at()}); err != nil {
		return err
	}
	if a := view.Job.GetAuthorisations(); len(a) > 0 {
		view.Authorised = a[len(a)-1].GetUpTo()
	}
	view.Chosen = v.r.URL.Query()["cause"]
	if len(view.Chosen) > 0 {
		if view.Ways, err = d.compareWays(v, view.Chosen, view.Authorised); err != nil {
			return err
		}
	}
	return v.render("diagnosis", view)
}

// known gives the evidence its words from the catalogue.
func (view *diagnosisView) known() {
	codes, symptoms, tests := map[string]string{}, map[string]string{}, map[string]string{}
	for _, c := range view.Catalogue.GetCodes() {
		codes[c.GetCode()] = c.GetTitle()
	}
	for _, s := range view.Catalogue.GetSymptoms() {
		symptoms[s.GetId()] = s.GetTitle()
	}
	for _, t := range view.Catalogue.GetTests() {
		tests[t.GetId()] = t.GetTitle()
	}
	for _, report := range view.Job.GetCodeReports() {
		for _, c := range report.GetCodes() {
			view.Codes = append(view.Codes, knownCode{c, codes[c.GetCode()], report.GetMoment()})
		}
	}
	for _, s := range view.Job.GetSymptoms() {
		view.Symptoms = append(view.Symptoms, knownSymptom{s, symptoms[s.GetSymptom()]})
	}
	for _, t := range view.Job.GetTests() {
		view.Tests = append(view.Tests, knownTest{t, tests[t.GetTest()]})
	}
}

func (d *Desk) compareWays(v *visit, causes []string, authorised *commonv1.Money) ([]wayRow, error) {
	r, err := d.Services.Job.ComparePlans(v.ctx, &jobv1.ComparePlansRequest{Job: v.job(), Causes: causes, MinRevision: v.at()})
	if err != nil {
		return nil, err
	}
	var rows []wayRow
	for _, a := range r.GetAlternatives() {
		choice, err := protojson.Marshal(a.GetWay())
		if err != nil {
			return nil, err
		}
		rows = append(rows, wayRow{a, string(choice), a.GetPrice().GetMinorUnits() > authorised.GetMinorUnits()})
	}
	return rows, nil
}

// moments of reading codes, in the words of the forms.
var moments = map[string]jobv1.ReadingMoment{
	"intake":   jobv1.ReadingMoment_READING_MOMENT_INTAKE,
	"clearing": jobv1.ReadingMoment_READING_MOMENT_AFTER_CLEARING,
	"drive":    jobv1.ReadingMoment_READING_MOMENT_AFTER_ROAD_TEST,
}

// recordEvidence takes codes, a symptom or the outcome of a test.
func (d *Desk) recordEvidence(v *visit) error {
	var answer interface{ GetReceipt() *commonv1.Receipt }
	var err error
	switch kind := v.r.PathValue("kind"); kind {
	case "codes":
		request := &jobv1.RecordCodesRequest{RequestId: v.requestID(), Job: v.job(), Moment: moments[v.form("moment")]}
		for _, code := range strings.FieldsFunc(v.form("codes"), func(r rune) bool { return r == ' ' || r == ',' || r == '\n' || r == '\r' || r == ';' }) {
			request.Codes = append(request.Codes, &jobv1.CodeReading{Code: code})
		}
		answer, err = d.Services.Job.RecordCodes(v.ctx, request)
	case "symptom":
		answer, err = d.Services.Job.NoteSymptom(v.ctx, &jobv1.NoteSymptomRequest{
			RequestId: v.requestID(), Job: v.job(), Symptom: v.form("symptom"), Present: v.form("present") != "no",
		})
	case "test":
		outcome := jobv1.TestOutcome_TEST_OUTCOME_NEGATIVE
		if v.form("outcome") == "positive" {
			outcome = jobv1.TestOutcome_TEST_OUTCOME_POSITIVE
		}
		answer, err = d.Services.Job.RecordTest(v.ctx, &jobv1.RecordTestRequest{
			RequestId: v.requestID(), Job: v.job(), Test: v.form("test"), Outcome: outcome, Note: v.form("note"),
		})
	case "withdrawal":
		answer, err = d.Services.Job.WithdrawEvidence(v.ctx, &jobv1.WithdrawEvidenceRequest{
			RequestId: v.requestID(), Job: v.job(), Symptom: v.form("symptom"), Test: v.form("test"), Reason: v.form("reason"),
		})
	default:
		return fault.New(fault.NotFound, "EVIDENCE_UNKNOWN", "evidence is codes, a symptom or a test")
	}
	if err != nil {
		return err
	}
	return v.done("/work/"+v.r.PathValue("job")+"/diagnosis", "evidence", answer.GetReceipt())
}

// confirmDiagnosis says what is broken and by which way it is reached.
func (d *Desk) confirmDiagnosis(v *visit) error {
	request := &jobv1.ConfirmDiagnosisRequest{RequestId: v.requestID(), Job: v.job(), Causes: v.r.PostForm["cause"], Reason: v.form("reason")}
	slices.Sort(request.GetCauses())
	if text := v.form("way"); text != "" {
		request.Way = &jobv1.Way{}
		if err := protojson.Unmarshal([]byte(text), request.GetWay()); err != nil {
			return badField("way", "must be one of those shown")
		}
	}
	r, err := d.Services.Job.ConfirmDiagnosis(v.ctx, request)
	if err != nil {
		return err
	}
	return v.done("/work/"+v.r.PathValue("job"), "confirmed", r.GetReceipt())
}

// proveRepair clears the codes, reads them again, or keeps a drive.
func (d *Desk) proveRepair(v *visit) error {
	var answer interface{ GetReceipt() *commonv1.Receipt }
	var err error
	switch v.r.PathValue("deed") {
	case "clear":
		answer, err = d.Services.Job.ClearCodes(v.ctx, &jobv1.ClearCodesRequest{RequestId: v.requestID(), Job: v.job()})
	case "drive":
		km, bad := v.decimal("km")
		if bad != nil {
			return bad
		}
		answer, err = d.Services.Job.RecordRoadTest(v.ctx, &jobv1.RecordRoadTestRequest{
			RequestId: v.requestID(), Job: v.job(), Passed: v.form("passed") == "yes", DistanceKm: km, Note: v.form("note"),
		})
	default:
		return fault.New(fault.NotFound, "PROOF_UNKNOWN", "codes are cleared or a drive is kept")
	}
	if err != nil {
		return err
	}
	return v.done("/work/"+v.r.PathValue("job"), "proved", answer.GetReceipt())
}

// percent writes a probability for people.
func (d *Desk) percent(p float64) string { return d.fixed(100*p, 1) + " %" }

func contains(list []string, one string) bool { return slices.Contains(list, one) }
