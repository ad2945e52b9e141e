package job

import (
	"errors"
	"slices"

	"ramprow/internal/catalogue"
	"ramprow/internal/engine/diagnosis"
	"ramprow/internal/platform/fault"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// diagnose ranks causes and next actions by what is on record of the car.
func diagnose(j *Job, c *catalogue.Catalogue, d *diagnoser) (*jobv1.DiagnoseResponse, error) {
	engine := d.engine
	evidence := d.speaking(j.evidence(c))
	evidence.Opened = d.car.Opened(j.openPieces(c))
	answer, err := engine.Diagnose(evidence)
	if impossible, ok := errors.AsType[*diagnosis.ImpossibleError](err); ok {
		return &jobv1.DiagnoseResponse{Contradiction: impossible.Error()}, nil
	}
	if err != nil {
		return nil, fault.New(fault.Internal, "DIAGNOSIS_FAILED", "the evidence cannot be weighed").Because(err)
	}
	response := &jobv1.DiagnoseResponse{}
	for _, r := range answer.Causes {
		response.Causes = append(response.Causes, &jobv1.RankedCause{
			Cause: r.Cause, Title: r.Title, Probability: r.Probability,
			EvidenceFor: titles(r.For), EvidenceAgainst: titles(r.Against),
			Repair: minutes(c.Cause(r.Cause).GetRepair().GetEffort().GetLikely()),
		})
	}
	advice, err := engine.Next(evidence)
	if err != nil {
		return nil, fault.New(fault.Internal, "DIAGNOSIS_FAILED", "the next action cannot be found").Because(err)
	}
	response.StopTesting = advice.StopTesting
	for _, a := range advice.Actions {
		response.Actions = append(response.Actions, &jobv1.NextAction{
			Kind: actionKinds[a.Kind], Subject: a.ID, Title: a.Title, Reason: a.Reason,
			Expected: minutes(a.ExpectedMinutes), Takes: minutes(a.Minutes + a.OpenMinutes),
		})
	}
	return response, nil
}

var actionKinds = map[diagnosis.ActionKind]jobv1.NextAction_Kind{
	diagnosis.ActTest:     jobv1.NextAction_KIND_TEST,
	diagnosis.ActOpen:     jobv1.NextAction_KIND_OPEN,
	diagnosis.ActRepair:   jobv1.NextAction_KIND_REPAIR,
	diagnosis.ActHandOver: jobv1.NextAction_KIND_UNSPECIFIED,
}

func titles(weights []diagnosis.Weight) []string {
	list := make([]string, len(weights))
	for i, w := range weights {
		list[i] = w.Title
		if !w.Present {
			list[i] = "no " + w.Title
		}
	}
	return list
}

// evidence is what the job's record says of the car as it came in. Codes that
// the catalogue does not know say nothing; those it knows and the reader did
// not show are absent.
func (j *Job) evidence(c *catalogue.Catalogue) diagnosis.Evidence {
	var ev diagnosis.Evidence
	seen := map[string]float64{}
	read := false
	for _, r := range j.Reports {
		if r.GetMoment() != jobv1.ReadingMoment_READING_MOMENT_INTAKE {
			continue
		}
		read = true
		for _, code := range r.GetCodes() {
			seen[code.GetCode()] = max(seen[code.GetCode()], codeWeight(code))
		}
	}
	for _, code := range c.Message().GetCodes() {
		if weight, there := seen[code.GetCode()]; there {
			ev.Observations = append(ev.Observations, diagnosis.Observation{Of: code.GetCode(), Present: true, Weight: weight})
		} else if read {
			ev.Observations = append(ev.Observations, diagnosis.Observation{Of: code.GetCode()})
		}
	}
	for _, s := range j.Symptoms {
		ev.Observations = append(ev.Observations, diagnosis.Observation{Of: s.GetSymptom(), Present: s.GetPresent()})
	}
	for _, t := range j.Tests {
		ev.Observations = append(ev.Observations, diagnosis.Observation{Of: t.GetTest(), Present: t.GetOutcome() == jobv1.TestOutcome_TEST_OUTCOME_POSITIVE})
	}
	ev.Excluded = slices.Clone(j.Car.Repaired)
	for _, f := range j.Findings {
		if f.GetKind() == jobv1.FindingKind_FINDING_KIND_CAUSE_NOT_FOUND {
			ev.Excluded = append(ev.Excluded, f.GetCause())
		}
	}
	return ev
}

// speaking keeps the evidence that says something of this car: a test of what
// it does not have, or a cause that it cannot have, is not in its model.
func (d *diagnoser) speaking(ev diagnosis.Evidence) diagnosis.Evidence {
	model := d.car.Model
	ev.Observations = slices.DeleteFunc(ev.Observations, func(o diagnosis.Observation) bool {
		return !slices.ContainsFunc(model.Findings, func(f diagnosis.Finding) bool { return f.ID == o.Of }) &&
			!slices.ContainsFunc(model.Tests, func(t diagnosis.Test) bool { return t.ID == o.Of })
	})
	ev.Excluded = slices.DeleteFunc(ev.Excluded, func(id string) bool {
		return !slices.ContainsFunc(model.Causes, func(c diagnosis.Cause) bool { return c.ID == id })
	})
	return ev
}

// openPieces are off the car, or reached, now.
func (j *Job) openPieces(c *catalogue.Catalogue) map[string]bool {
	open := map[string]bool{}
	for _, id := range j.Car.Off {
		operation := c.Operation(id)
		for _, piece := range slices.Concat(operation.GetTakesOff(), operation.GetReaches()) {
			open[piece] = true
		}
	}
	return open
}

// Weights of a code by its ISO 14229 status: how far it speaks of the car as it
// is now. Common practice, no source.
const (
	weightNow     = 1.0 // failing now or in this cycle, or status unknown
	weightPending = 0.8
	weightStored  = 0.5
)

func codeWeight(c *jobv1.CodeReading) float64 {
	switch status := c.GetStatus(); {
	case c.Status == nil || status&0x03 != 0:
		return weightNow
	case status&0x04 != 0:
		return weightPending
	}
	return weightStored
}
