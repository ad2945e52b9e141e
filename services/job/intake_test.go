package job

import (
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/catalogue"
	"ramprow/internal/platform/sitelog"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

func TestOpening(t *testing.T) {
	s := newSite(t)
	req := intake()
	req.Vehicle.Vin = "ymr0rn16zha004711"
	req.WantedBy = timestamppb.New(monday.Add(30 * time.Hour))
	wantNames(t, s.open(req), "JobOpened")
	j := s.job()
	if j.Vehicle.GetVin() != vin || j.Complaint != "shakes" || !j.Received || j.Version != loaded()[car].Version() {
		t.Errorf("opened as %v", j.resource())
	}
	late := intake()
	late.ExpectedAt = timestamppb.New(monday.Add(time.Hour))
	s.open(late)
	if second := s.st.jobs["jobs/2"]; second.Received || second.ExpectedAt.IsZero() || second.stage() != jobv1.JobState_JOB_STATE_OPENED {
		t.Errorf("a car that is expected: %v", second.resource())
	}
	early := intake()
	early.ExpectedAt = timestamppb.New(monday)
	if s.open(early); !s.st.jobs["jobs/3"].Received {
		t.Error("a car that was expected before now is not here")
	}
}

func TestOpeningRefused(t *testing.T) {
	for _, tt := range []struct {
		name   string
		change func(*jobv1.OpenJobRequest)
		reason string
		fields []string
	}{
		{"no such catalogue", func(r *jobv1.OpenJobRequest) { r.Vehicle.Catalogue = "ghost" }, "CATALOGUE_NOT_FOUND", nil},
		{"letter O in the VIN", func(r *jobv1.OpenJobRequest) { r.Vehicle.Vin = "YMRORN16ZHA004711" }, "VIN_INVALID", []string{"vehicle.vin"}},
		{"no such feature", func(r *jobv1.OpenJobRequest) { r.Vehicle.Features["roof"] = "glass" }, "UNKNOWN_FEATURE", []string{"vehicle.features.roof"}},
		{"no such value", func(r *jobv1.OpenJobRequest) { r.Vehicle.Features["body"] = "ship" }, "UNKNOWN_FEATURE_VALUE", []string{"vehicle.features.body"}},
		{"wanted yesterday", func(r *jobv1.OpenJobRequest) { r.WantedBy = timestamppb.New(monday) }, "WANTED_BY_PAST", []string{"wanted_by"}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			s := newSite(t)
			req := intake()
			tt.change(req)
			_, err := open(s.st, s.input(), req)
			wantRefusal(t, err, tt.reason, tt.fields...)
		})
	}
}

func TestImporting(t *testing.T) {
	s := newSite(t)
	changed := proto.CloneOf(loaded()[van].Message())
	changed.Title = "Changed"
	_, _, err := importCatalogue(s.st, s.input(), &jobv1.ImportCatalogueRequest{Catalogue: changed})
	wantRefusal(t, err, "EDITION_NOT_NEWER")
	changed.Edition = 2
	dry, _, err := importCatalogue(s.st, s.input(), &jobv1.ImportCatalogueRequest{Catalogue: changed, ValidateOnly: true})
	if len(dry) != 0 || err != nil {
		t.Fatalf("a check brought about %v, %v", dry, err)
	}
	events, resp, err := importCatalogue(s.st, s.input(), &jobv1.ImportCatalogueRequest{Catalogue: changed})
	if err != nil {
		t.Fatal(err)
	}
	s.commit(events)
	if c, err := s.st.edition(van); err != nil || c.Version() != resp.GetVersion() || c.Message().GetTitle() != "Changed" {
		t.Errorf("the newest is not the second edition: %v", err)
	}
	again, _, err := importCatalogue(s.st, s.input(), &jobv1.ImportCatalogueRequest{Catalogue: changed})
	if len(again) != 0 || err != nil {
		t.Errorf("the same content again brought about %v, %v", again, err)
	}
	if c, err := s.st.editionOf(van, 1); err != nil || c.Message().GetEdition() != 1 {
		t.Errorf("the first edition is gone: %v", err)
	}
	_, err = s.st.editionOf(van, 9)
	wantRefusal(t, err, "CATALOGUE_NOT_FOUND")
	changed.Edition, changed.Joints[0].StageSets = 3, nil
	_, _, err = importCatalogue(s.st, s.input(), &jobv1.ImportCatalogueRequest{Catalogue: changed})
	wantRefusal(t, err, "CATALOGUE_INVALID", "catalogue.joints[0]")
}

func TestReceiving(t *testing.T) {
	s := newSite(t)
	req := intake()
	req.ExpectedAt = timestamppb.New(monday.Add(time.Hour))
	s.open(req)
	receiving := func(km int64) decision {
		return func(j *Job, _ *catalogue.Catalogue, _ sitelog.Input) ([]proto.Message, error) {
			return receive(j, &jobv1.ReceiveVehicleRequest{OdometerKm: km})
		}
	}
	_, err := s.try(receiving(5))
	wantRefusal(t, err, "ODOMETER_BACKWARDS", "odometer_km")
	wantNames(t, s.do(receiving(128_450)), "VehicleReceived")
	if j := s.job(); !j.Received || j.Vehicle.GetOdometerKm() != 128_450 {
		t.Errorf("received as %v", j.Vehicle)
	}
	wantNames(t, s.do(receiving(0)), "") // it is here already
}

func TestEvidence(t *testing.T) {
	s := opened(t)
	status := uint32(0x2F)
	s.do(reading(jobv1.ReadingMoment_READING_MOMENT_INTAKE, &jobv1.CodeReading{Code: "p0304", Status: &status}, &jobv1.CodeReading{Code: "0X1f07"}))
	if codes := s.job().Reports[0].GetCodes(); codes[0].GetCode() != "P0304" || codes[1].GetCode() != "0x1F07" {
		t.Errorf("codes are not in one spelling: %v", codes)
	}
	noting := func(symptom string, present bool) decision {
		return func(j *Job, c *catalogue.Catalogue, _ sitelog.Input) ([]proto.Message, error) {
			return noteSymptom(j, c, &jobv1.NoteSymptomRequest{Symptom: symptom, Present: present})
		}
	}
	doing := func(test string) decision {
		return func(j *Job, c *catalogue.Catalogue, in sitelog.Input) ([]proto.Message, error) {
			return recordTest(j, c, in, &jobv1.RecordTestRequest{Test: test, Outcome: jobv1.TestOutcome_TEST_OUTCOME_NEGATIVE})
		}
	}
	withdrawing := func(req *jobv1.WithdrawEvidenceRequest) decision {
		return func(j *Job, _ *catalogue.Catalogue, _ sitelog.Input) ([]proto.Message, error) {
			return withdrawEvidence(j, req)
		}
	}
	s.do(noting("ticking", true))
	s.do(noting("ticking", false))
	s.do(doing("swap-coil"))
	s.do(doing("swap-coil"))
	if j := s.job(); len(j.Symptoms) != 1 || j.Symptoms[0].GetPresent() || len(j.Tests) != 1 {
		t.Errorf("the newest word does not stand alone: %v %v", j.Symptoms, j.Tests)
	}
	s.do(withdrawing(&jobv1.WithdrawEvidenceRequest{Symptom: "ticking"}))
	s.do(withdrawing(&jobv1.WithdrawEvidenceRequest{Test: "swap-coil"}))
	if j := s.job(); len(j.Symptoms)+len(j.Tests) != 0 {
		t.Errorf("withdrawn, but there: %v %v", j.Symptoms, j.Tests)
	}
	future := func(j *Job, _ *catalogue.Catalogue, in sitelog.Input) ([]proto.Message, error) {
		return recordCodes(j, in, &jobv1.RecordCodesRequest{
			Moment: jobv1.ReadingMoment_READING_MOMENT_INTAKE, ReadAt: timestamppb.New(in.Now.Add(clockTolerance + time.Second)),
		})
	}
	for _, tt := range []struct {
		name   string
		decide decision
		reason string
		fields []string
	}{
		{"symptom", noting("humming", true), "UNKNOWN_SYMPTOM", []string{"symptom"}},
		{"test", doing("taste"), "UNKNOWN_TEST", []string{"test"}},
		{"both", withdrawing(&jobv1.WithdrawEvidenceRequest{Symptom: "a", Test: "b"}), "ONE_EVIDENCE", []string{"symptom"}},
		{"neither", withdrawing(&jobv1.WithdrawEvidenceRequest{}), "ONE_EVIDENCE", []string{"symptom"}},
		{"gone", withdrawing(&jobv1.WithdrawEvidenceRequest{Symptom: "ticking"}), "EVIDENCE_NOT_FOUND", nil},
		{"future", future, "TIME_IN_FUTURE", []string{"read_at"}},
		{"not cleared", reading(jobv1.ReadingMoment_READING_MOMENT_AFTER_CLEARING), "CODES_NOT_CLEARED", nil},
		{"not driven", reading(jobv1.ReadingMoment_READING_MOMENT_AFTER_ROAD_TEST), "ROAD_TEST_MISSING", nil},
	} {
		t.Run(tt.name, func(t *testing.T) { _, err := s.try(tt.decide); wantRefusal(t, err, tt.reason, tt.fields...) })
	}
}

func TestAuthorising(t *testing.T) {
	s := opened(t)
	_, err := s.try(authorising(100))
	wantRefusal(t, err, "DIAGNOSIS_MISSING")
	s.do(confirming("coil-4"))
	_, err = s.try(authorising(0))
	wantRefusal(t, err, "AMOUNT_NOT_POSITIVE", "up_to.minor_units")
	_, err = s.try(func(j *Job, _ *catalogue.Catalogue, in sitelog.Input) ([]proto.Message, error) {
		up := euros(1)
		up.CurrencyCode = "CHF"
		return authorise(j, in, &jobv1.AuthoriseWorkRequest{UpTo: up})
	})
	wantRefusal(t, err, "CURRENCY_DIFFERS", "up_to.currency_code")
	short := s.job().estimate() - 1
	s.do(authorising(short))
	if s.job().stage() != jobv1.JobState_JOB_STATE_AWAITING_AUTHORITY {
		t.Errorf("one cent short, but %s", s.job().stage())
	}
	s.do(authorising(short + 1))
	s.do(authorising(1)) // a lower word later takes nothing back
	if s.job().stage() != jobv1.JobState_JOB_STATE_READY {
		t.Errorf("enough, but %s", s.job().stage())
	}
}

// TestAppointment: what changes is told whole, what does not is no news, and what
// cannot be is refused with the field.
func TestAppointment(t *testing.T) {
	s := newSite(t)
	req := intake()
	req.ExpectedAt = timestamppb.New(monday.Add(time.Hour))
	s.open(req)
	changing := func(req *jobv1.ChangeAppointmentRequest) decision {
		return func(j *Job, _ *catalogue.Catalogue, in sitelog.Input) ([]proto.Message, error) {
			return reappoint(j, in, req)
		}
	}
	later, friday, past := timestamppb.New(monday.Add(4*time.Hour)), timestamppb.New(monday.Add(96*time.Hour)), timestamppb.New(monday.Add(-time.Hour))
	for _, bad := range []struct {
		reason, field string
		req           *jobv1.ChangeAppointmentRequest
	}{
		{"NOTHING_TO_CHANGE", "expected_at", &jobv1.ChangeAppointmentRequest{}},
		{"WANTED_BY_AND_NOT", "clear_wanted_by", &jobv1.ChangeAppointmentRequest{WantedBy: friday, ClearWantedBy: true}},
		{"WANTED_BY_PAST", "wanted_by", &jobv1.ChangeAppointmentRequest{WantedBy: past}},
		{"EXPECTED_AT_PAST", "expected_at", &jobv1.ChangeAppointmentRequest{ExpectedAt: past}},
	} {
		_, err := s.try(changing(bad.req))
		wantRefusal(t, err, bad.reason, bad.field)
	}
	wantNames(t, s.do(changing(&jobv1.ChangeAppointmentRequest{ExpectedAt: later, Priority: proto.Uint32(5), WantedBy: friday, Reason: "late"})), "AppointmentChanged")
	if j := s.job(); !j.ExpectedAt.Equal(later.AsTime()) || !j.WantedBy.Equal(friday.AsTime()) || j.Priority != 5 {
		t.Errorf("kept %v, %v, %d", j.ExpectedAt, j.WantedBy, j.Priority)
	}
	wantNames(t, s.do(changing(&jobv1.ChangeAppointmentRequest{ExpectedAt: later, Priority: proto.Uint32(5), Reason: "once more"})), "")
	s.do(changing(&jobv1.ChangeAppointmentRequest{ClearWantedBy: true, Reason: "no hurry"}))
	if j := s.job(); !j.WantedBy.IsZero() || j.Priority != 5 || !j.ExpectedAt.Equal(later.AsTime()) {
		t.Errorf("taking one thing back changed another: %v, %v, %d", j.ExpectedAt, j.WantedBy, j.Priority)
	}
	s.do(func(j *Job, _ *catalogue.Catalogue, _ sitelog.Input) ([]proto.Message, error) {
		return receive(j, &jobv1.ReceiveVehicleRequest{})
	})
	_, err := s.try(changing(&jobv1.ChangeAppointmentRequest{ExpectedAt: friday}))
	wantRefusal(t, err, "CAR_IS_HERE")
	wantNames(t, s.do(changing(&jobv1.ChangeAppointmentRequest{Priority: proto.Uint32(9), Reason: "rush"})), "AppointmentChanged")
}
