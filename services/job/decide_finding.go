package job

import (
	"fmt"
	"slices"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/catalogue"
	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// reportFinding keeps what was found and draws what follows from it at once: a
// design narrows or changes the plan, a broken part leaves debris to be counted.
func reportFinding(j *Job, c *catalogue.Catalogue, in sitelog.Input, req *jobv1.ReportFindingRequest) ([]proto.Message, error) {
	if err := findingKnown(j, c, req); err != nil {
		return nil, err
	}
	if err := findingFits(c, req); err != nil {
		return nil, err
	}
	finding := &jobv1.Finding{
		Id: fmt.Sprintf("f%d", len(j.Findings)+1), Kind: req.GetKind(), Step: req.GetStep(), Feature: req.GetFeature(), Value: req.GetValue(),
		Piece: req.GetPiece(), Cause: req.GetCause(), PiecesMissing: req.GetPiecesMissing(), Note: req.GetNote(),
		Extra: req.GetExtra(), Attachments: req.GetAttachments(), At: timestamppb.New(in.Now), By: in.Actor.Person,
	}
	events := []proto.Message{&jobv1.FindingReported{Job: j.Name, Finding: finding}}
	switch req.GetKind() {
	case jobv1.FindingKind_FINDING_KIND_DESIGN:
		follow, err := designFound(j, c, in, req.GetFeature(), req.GetValue())
		return append(events, follow...), err
	case jobv1.FindingKind_FINDING_KIND_BROKEN_UP:
		events = append(events, &jobv1.DebrisNoted{Job: j.Name, Debris: &jobv1.Debris{
			Finding: finding.GetId(), Piece: req.GetPiece(), Missing: req.GetPiecesMissing(),
		}})
	case jobv1.FindingKind_FINDING_KIND_SEIZED:
		follow, err := seizedAt(j, c, in, finding)
		return append(events, follow...), err
	case jobv1.FindingKind_FINDING_KIND_UNSPECIFIED, jobv1.FindingKind_FINDING_KIND_SECOND_FAULT,
		jobv1.FindingKind_FINDING_KIND_CAUSE_NOT_FOUND, jobv1.FindingKind_FINDING_KIND_OTHER:
	}
	return events, nil
}

// findingKnown checks what a finding names, whatever its kind.
func findingKnown(j *Job, c *catalogue.Catalogue, req *jobv1.ReportFindingRequest) error {
	switch {
	case req.GetPiece() != "" && c.Piece(req.GetPiece()) == nil:
		return unknown("piece", req.GetPiece(), c)
	case req.GetCause() != "" && c.Cause(req.GetCause()) == nil:
		return unknown("cause", req.GetCause(), c)
	case req.GetStep() != "":
		_, err := j.plannedStep(req.GetStep())
		return err
	}
	return nil
}

// findingFits checks the fields that a kind of finding needs.
func findingFits(c *catalogue.Catalogue, req *jobv1.ReportFindingRequest) error {
	switch req.GetKind() {
	case jobv1.FindingKind_FINDING_KIND_DESIGN:
		return designFits(c, req)
	case jobv1.FindingKind_FINDING_KIND_BROKEN_UP:
		if c.Piece(req.GetPiece()) == nil {
			return unknown("piece", req.GetPiece(), c)
		}
		if req.GetPiecesMissing() == 0 {
			return fault.New(fault.Invalid, "PIECES_MISSING_ZERO", "say how many pieces are missing; if none is, it is no such finding").
				WithField("pieces_missing", "must be at least 1")
		}
	case jobv1.FindingKind_FINDING_KIND_SECOND_FAULT, jobv1.FindingKind_FINDING_KIND_CAUSE_NOT_FOUND:
		if c.Cause(req.GetCause()) == nil {
			return unknown("cause", req.GetCause(), c)
		}
	case jobv1.FindingKind_FINDING_KIND_SEIZED, jobv1.FindingKind_FINDING_KIND_OTHER, jobv1.FindingKind_FINDING_KIND_UNSPECIFIED:
		if req.GetNote() == "" {
			return fault.New(fault.Invalid, "NOTE_MISSING", "say in a few words what was found").WithField("note", "must not be empty")
		}
	}
	return nil
}

func designFits(c *catalogue.Catalogue, req *jobv1.ReportFindingRequest) error {
	feature := c.Feature(req.GetFeature())
	if feature == nil {
		return unknown("feature", req.GetFeature(), c)
	}
	for _, v := range feature.GetValues() {
		if v.GetId() == req.GetValue() {
			return nil
		}
	}
	known := make([]string, len(feature.GetValues()))
	for i, v := range feature.GetValues() {
		known[i] = v.GetId()
	}
	return fault.New(fault.Invalid, "UNKNOWN_FEATURE_VALUE", "%s can be one of %v", feature.GetTitle(), known).
		WithField("value", "unknown value %q", req.GetValue())
}

// designFound settles a feature. If the work itself is another one with it, the
// plan is revised in the same breath.
func designFound(j *Job, c *catalogue.Catalogue, in sitelog.Input, feature, value string) ([]proto.Message, error) {
	if j.Vehicle.GetFeatures()[feature] == value {
		return nil, nil
	}
	found := &jobv1.DesignFound{Job: j.Name, Feature: feature, Value: value, Title: c.Feature(feature).GetTitle()}
	if j.Plan == nil {
		return []proto.Message{found}, nil
	}
	after := j.clone()
	after.apply(found, happening{at: in.Now})
	plan, err := planFor(after, c, j.Causes)
	if err != nil {
		return nil, err
	}
	if sameWork(after.Plan, plan) {
		return []proto.Message{found}, nil
	}
	follow := revised(j, in, &jobv1.PlanRevised{
		Vehicle: after.Vehicle, Causes: j.Causes, Plan: plan, Reason: fmt.Sprintf("%s is %s", found.GetTitle(), value),
	})
	return append([]proto.Message{found}, follow...), nil
}

// sameWork reports whether two plans ask for the same steps, parts and joints.
// Their order does not matter: a plan's own says what must come before what.
func sameWork(a, b *jobv1.Plan) bool {
	return sameByID(a.GetSteps(), b.GetSteps(), (*jobv1.PlannedStep).GetId, func(_, _ *jobv1.PlannedStep) bool { return true }) &&
		sameByID(a.GetParts(), b.GetParts(), (*jobv1.PartWanted).GetLine, samePart) &&
		sameByID(a.GetJoints(), b.GetJoints(), (*jobv1.JointDue).GetJoint, sameJoint)
}

func samePart(a, b *jobv1.PartWanted) bool { return proto.Equal(a, b) }
func sameJoint(a, b *jobv1.JointDue) bool  { return proto.Equal(a, b) }

func sameByID[T any](a, b []T, id func(T) string, same func(T, T) bool) bool {
	byID := make(map[string]T, len(a))
	for _, item := range a {
		byID[id(item)] = item
	}
	return len(a) == len(b) && !slices.ContainsFunc(b, func(item T) bool {
		other, there := byID[id(item)]
		return !there || !same(other, item)
	})
}

func explainPiece(j *Job, in sitelog.Input, req *jobv1.ExplainPieceRequest) ([]proto.Message, error) {
	var open uint32
	for _, s := range j.Stowed {
		if s.GetPiece() == req.GetPiece() {
			open += s.GetCount() - s.GetSettled()
		}
	}
	if open < req.GetCount() {
		return nil, fault.New(fault.Precondition, "PIECE_NOT_OPEN", "%d of %s are unaccounted for, not %d", open, req.GetPiece(), req.GetCount()).
			With("piece", req.GetPiece())
	}
	return []proto.Message{&jobv1.PieceExplained{
		Job: j.Name, Piece: req.GetPiece(), Count: req.GetCount(), Explanation: req.GetExplanation(), SignedBy: in.Actor.Person,
	}}, nil
}

// settleDebris counts what was found, or signs for what was not.
func settleDebris(j *Job, in sitelog.Input, req *jobv1.SettleDebrisRequest) ([]proto.Message, error) {
	i := slices.IndexFunc(j.Debris, func(d *jobv1.Debris) bool { return d.GetFinding() == req.GetFinding() })
	if i < 0 {
		return nil, fault.New(fault.NotFound, "DEBRIS_NOT_FOUND", "%s has no debris under finding %s", j.Name, req.GetFinding())
	}
	now := proto.CloneOf(j.Debris[i])
	if req.GetFound() == 0 && req.GetExplanation() == "" {
		return nil, fault.New(fault.Invalid, "DEBRIS_NOTHING_SAID", "say how many pieces were found, or why they cannot be in the engine").
			WithField("found", "0 without an explanation")
	}
	if now.GetFound()+req.GetFound() > now.GetMissing() {
		return nil, fault.New(fault.Invalid, "DEBRIS_TOO_MANY", "%d pieces are missing and %d were found before", now.GetMissing(), now.GetFound()).
			WithField("found", "more than are missing")
	}
	now.Found += req.GetFound()
	if req.GetExplanation() != "" {
		now.Explanation, now.SignedBy = req.GetExplanation(), in.Actor.Person
	}
	return []proto.Message{&jobv1.DebrisSettled{Job: j.Name, Debris: now}}, nil
}
