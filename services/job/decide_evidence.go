package job

import (
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/catalogue"
	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

func recordCodes(j *Job, in sitelog.Input, req *jobv1.RecordCodesRequest) ([]proto.Message, error) {
	if err := readingMomentFits(j, req.GetMoment()); err != nil {
		return nil, err
	}
	at := req.GetReadAt()
	if at == nil {
		at = timestamppb.New(in.Now)
	}
	if at.AsTime().After(in.Now.Add(clockTolerance)) {
		return nil, inFuture("read_at")
	}
	report := &jobv1.CodeReport{Moment: req.GetMoment(), ReadAt: at, ReadBy: in.Actor.Person}
	for _, c := range req.GetCodes() {
		c = proto.CloneOf(c)
		c.Code = canonicalCode(c.GetCode())
		report.Codes = append(report.Codes, c)
	}
	return []proto.Message{&jobv1.CodesRead{Job: j.Name, Report: report}}, nil
}

// readingMomentFits keeps a reading from proving what has not happened yet.
func readingMomentFits(j *Job, moment jobv1.ReadingMoment) error {
	switch moment {
	case jobv1.ReadingMoment_READING_MOMENT_AFTER_CLEARING:
		if j.ClearedAt.IsZero() {
			return fault.New(fault.Precondition, "CODES_NOT_CLEARED", "clear the codes first: 'ramprow job clear-codes %s'", numberOf(j.Name))
		}
	case jobv1.ReadingMoment_READING_MOMENT_AFTER_ROAD_TEST:
		if len(j.RoadTests) == 0 {
			return fault.New(fault.Precondition, "ROAD_TEST_MISSING", "drive the car first: 'ramprow job road-test %s'", numberOf(j.Name))
		}
	case jobv1.ReadingMoment_READING_MOMENT_UNSPECIFIED, jobv1.ReadingMoment_READING_MOMENT_INTAKE:
	}
	return nil
}

// canonicalCode is upper case but for the 0x of a maker's own code.
func canonicalCode(code string) string {
	if digits, own := strings.CutPrefix(strings.ToLower(code), "0x"); own {
		return "0x" + strings.ToUpper(digits)
	}
	return strings.ToUpper(code)
}

func noteSymptom(j *Job, c *catalogue.Catalogue, req *jobv1.NoteSymptomRequest) ([]proto.Message, error) {
	if c.Symptom(req.GetSymptom()) == nil {
		return nil, unknown("symptom", req.GetSymptom(), c)
	}
	return []proto.Message{&jobv1.SymptomNoted{Job: j.Name, Note: &jobv1.SymptomNote{Symptom: req.GetSymptom(), Present: req.GetPresent()}}}, nil
}

func recordTest(j *Job, c *catalogue.Catalogue, in sitelog.Input, req *jobv1.RecordTestRequest) ([]proto.Message, error) {
	if c.Test(req.GetTest()) == nil {
		return nil, unknown("test", req.GetTest(), c)
	}
	return []proto.Message{&jobv1.TestRecorded{Job: j.Name, Record: &jobv1.TestRecord{
		Test: req.GetTest(), Outcome: req.GetOutcome(), DoneAt: timestamppb.New(in.Now), DoneBy: in.Actor.Person, Note: req.GetNote(),
	}}}, nil
}

func withdrawEvidence(j *Job, req *jobv1.WithdrawEvidenceRequest) ([]proto.Message, error) {
	if (req.GetSymptom() == "") == (req.GetTest() == "") {
		return nil, fault.New(fault.Invalid, "ONE_EVIDENCE", "name either a symptom or a test").WithField("symptom", "exactly one of symptom and test")
	}
	known := false
	for _, n := range j.Symptoms {
		known = known || n.GetSymptom() == req.GetSymptom()
	}
	for _, r := range j.Tests {
		known = known || r.GetTest() == req.GetTest()
	}
	if !known {
		return nil, fault.New(fault.NotFound, "EVIDENCE_NOT_FOUND", "%s has no such symptom or test on record", j.Name)
	}
	return []proto.Message{&jobv1.EvidenceWithdrawn{Job: j.Name, Symptom: req.GetSymptom(), Test: req.GetTest(), Reason: req.GetReason()}}, nil
}

func unknown(what, id string, c *catalogue.Catalogue) error {
	return fault.New(fault.Invalid, "UNKNOWN_"+strings.ToUpper(what),
		"the catalogue %s knows no %s %q; 'ramprow catalogue show' lists what it knows", c.Version(), what, id).
		WithField(what, "unknown to the catalogue").With(what, id)
}

func inFuture(field string) error {
	return fault.New(fault.Invalid, "TIME_IN_FUTURE", "the time lies in the future; check the terminal's clock").
		WithField(field, "lies in the future")
}
