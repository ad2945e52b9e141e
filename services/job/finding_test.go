package job

import (
	"slices"
	"testing"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/catalogue"
	"ramprow/internal/platform/sitelog"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// kinds of findings by shorter names.
const (
	designed = jobv1.FindingKind_FINDING_KIND_DESIGN
	seized   = jobv1.FindingKind_FINDING_KIND_SEIZED
	second   = jobv1.FindingKind_FINDING_KIND_SECOND_FAULT
	brokenUp = jobv1.FindingKind_FINDING_KIND_BROKEN_UP
	notFound = jobv1.FindingKind_FINDING_KIND_CAUSE_NOT_FOUND
	other    = jobv1.FindingKind_FINDING_KIND_OTHER
)

func TestFindings(t *testing.T) {
	for _, tt := range []struct {
		name   string
		req    *jobv1.ReportFindingRequest
		want   string // events, or the reason of the refusal
		fields []string
	}{
		{"a note", &jobv1.ReportFindingRequest{Kind: other, Note: "oily"}, "FindingReported", nil},
		{"no note", &jobv1.ReportFindingRequest{Kind: other}, "NOTE_MISSING", []string{"note"}},
		{"seized", &jobv1.ReportFindingRequest{Kind: seized, Note: "will not come", Piece: "coils"}, "FindingReported", nil},
		{"seized, but what", &jobv1.ReportFindingRequest{Kind: seized, Note: "will not come", Piece: "ghost"}, "UNKNOWN_PIECE", []string{"piece"}},
		{"second fault", &jobv1.ReportFindingRequest{Kind: second, Cause: "plug-1"}, "FindingReported", nil},
		{"second fault of nothing", &jobv1.ReportFindingRequest{Kind: second}, "UNKNOWN_CAUSE", []string{"cause"}},
		{"it was not that", &jobv1.ReportFindingRequest{Kind: notFound, Cause: "coil-4"}, "FindingReported", nil},
		{"it was not what", &jobv1.ReportFindingRequest{Kind: notFound, Cause: "ghost"}, "UNKNOWN_CAUSE", []string{"cause"}},
		{"broken up", &jobv1.ReportFindingRequest{Kind: brokenUp, Piece: "coils", PiecesMissing: 2}, "FindingReported DebrisNoted", nil},
		{"broken up, none missing", &jobv1.ReportFindingRequest{Kind: brokenUp, Piece: "coils"}, "PIECES_MISSING_ZERO", []string{"pieces_missing"}},
		{"broken up, but what", &jobv1.ReportFindingRequest{Kind: brokenUp, PiecesMissing: 2}, "UNKNOWN_PIECE", []string{"piece"}},
		{"a step of another job", &jobv1.ReportFindingRequest{Kind: other, Note: "x", Step: "open.ghost"}, "STEP_NOT_FOUND", nil},
		{"no such feature", &jobv1.ReportFindingRequest{Kind: designed, Feature: "roof", Value: "glass"}, "UNKNOWN_FEATURE", []string{"feature"}},
		{"no such design", &jobv1.ReportFindingRequest{Kind: designed, Feature: feature, Value: "glass"}, "UNKNOWN_FEATURE_VALUE", []string{"value"}},
		{"known already", &jobv1.ReportFindingRequest{Kind: designed, Feature: "body", Value: "hatch"}, "FindingReported", nil},
		{"one of two", &jobv1.ReportFindingRequest{Kind: designed, Feature: feature, Value: "bar"}, "FindingReported DesignFound", nil},
		// The cross has pieces that the hatch lacks, so the work itself is another.
		{"another body", &jobv1.ReportFindingRequest{Kind: designed, Feature: "body", Value: "cross"}, "FindingReported DesignFound PlanRevised", nil},
	} {
		t.Run(tt.name, func(t *testing.T) {
			s := opened(t)
			s.do(confirming("follower-4"))
			events, err := s.try(finding(tt.req))
			if err != nil {
				wantRefusal(t, err, tt.want, tt.fields...)
				return
			}
			wantNames(t, events, tt.want)
			if f := s.job().Findings[0]; f.GetId() != "f1" || f.GetBy() != "ada" || f.GetKind() != tt.req.GetKind() {
				t.Errorf("kept as %v", f)
			}
		})
	}
}

// TestDesignNarrows holds what a look changes: only the other design's lines and
// stages go, and every line that stays keeps the name under which it is held.
func TestDesignNarrows(t *testing.T) {
	s := opened(t)
	s.do(confirming("follower-4"))
	before := s.job().Plan
	var want []string
	for _, l := range before.GetParts() {
		if l.GetFeature() == "" || l.GetValue() == "bar" {
			want = append(want, l.GetLine())
		}
	}
	s.do(design("bar"))
	after := s.job().Plan
	if len(want) == len(before.GetParts()) || !slices.Equal(lineNames(after), want) {
		t.Errorf("lines %v\nwant  %v", lineNames(after), want)
	}
	if after.GetRevision() != 1 || after.GetPartsEstimate().GetMinorUnits() > before.GetPartsEstimate().GetMinorUnits() {
		t.Errorf("revision %d, parts %v, before %v", after.GetRevision(), after.GetPartsEstimate(), before.GetPartsEstimate())
	}
	var sum int64
	for _, l := range after.GetParts() {
		sum += l.GetPrice().GetMinorUnits()
		if l.GetFeature()+l.GetValue() != "" {
			t.Errorf("still open: %v", l)
		}
	}
	if sum != after.GetPartsEstimate().GetMinorUnits() {
		t.Errorf("lines cost %d, the estimate says %v", sum, after.GetPartsEstimate())
	}
	for _, due := range after.GetJoints() {
		if len(due.GetDesigns()) != 1 || due.GetDesigns()[0].GetFeature() != "" {
			t.Errorf("%s has %d designs", due.GetJoint(), len(due.GetDesigns()))
		}
	}
	if s.job().Vehicle.GetFeatures()[feature] != "bar" {
		t.Error("the car does not know it")
	}
	// A replan for another reason finds the same lines under the same names.
	s.do(confirming("follower-4", "plug-1"))
	for _, name := range want {
		if !slices.Contains(lineNames(s.job().Plan), name) {
			t.Errorf("the revision calls %s something else: %v", name, lineNames(s.job().Plan))
		}
	}
}

func lineNames(p *jobv1.Plan) []string {
	var names []string
	for _, l := range p.GetParts() {
		names = append(names, l.GetLine())
	}
	return names
}

func explaining(piece string, n uint32) decision {
	return func(j *Job, _ *catalogue.Catalogue, in sitelog.Input) ([]proto.Message, error) {
		return explainPiece(j, in, &jobv1.ExplainPieceRequest{Piece: piece, Count: n, Explanation: "in the bin"})
	}
}

func settling(req *jobv1.SettleDebrisRequest) decision {
	return func(j *Job, _ *catalogue.Catalogue, in sitelog.Input) ([]proto.Message, error) {
		return settleDebris(j, in, req)
	}
}

func TestExplainingPieces(t *testing.T) {
	s := ready(t, "follower-4")
	s.work(func(*jobv1.PlannedStep) bool {
		return slices.ContainsFunc(s.job().Stowed, func(p *jobv1.Stowed) bool { return p.GetCount() > 1 })
	})
	i := slices.IndexFunc(s.job().Stowed, func(p *jobv1.Stowed) bool { return p.GetCount() > 1 })
	many := s.job().Stowed[i]
	_, err := s.try(explaining(many.GetPiece(), many.GetCount()+1))
	wantRefusal(t, err, "PIECE_NOT_OPEN")
	_, err = s.try(explaining("ghost", 1))
	wantRefusal(t, err, "PIECE_NOT_OPEN")
	s.do(explaining(many.GetPiece(), 1))
	if p := s.job().Stowed[i]; p.GetSettled() != 1 || p.GetState() != jobv1.StowState_STOW_STATE_IN_TRAY || p.GetSignedBy() != "ada" {
		t.Errorf("one of %d explained: %v", many.GetCount(), p)
	}
	s.do(explaining(many.GetPiece(), many.GetCount()-1))
	if p := s.job().Stowed[i]; p.GetSettled() != p.GetCount() || p.GetState() != jobv1.StowState_STOW_STATE_EXPLAINED {
		t.Errorf("all explained: %v", p)
	}
}

func TestSettlingDebris(t *testing.T) {
	s := opened(t)
	s.do(finding(&jobv1.ReportFindingRequest{Kind: brokenUp, Piece: "coils", PiecesMissing: 3}))
	for _, tt := range []struct {
		req    *jobv1.SettleDebrisRequest
		reason string
		fields []string
	}{
		{&jobv1.SettleDebrisRequest{Finding: "f9", Found: 1}, "DEBRIS_NOT_FOUND", nil},
		{&jobv1.SettleDebrisRequest{Finding: "f1"}, "DEBRIS_NOTHING_SAID", []string{"found"}},
		{&jobv1.SettleDebrisRequest{Finding: "f1", Found: 4}, "DEBRIS_TOO_MANY", []string{"found"}},
	} {
		_, err := s.try(settling(tt.req))
		wantRefusal(t, err, tt.reason, tt.fields...)
	}
	s.do(settling(&jobv1.SettleDebrisRequest{Finding: "f1", Found: 2}))
	if len(s.job().unmetThings()) != 1 {
		t.Error("one piece is missing and nobody minds")
	}
	s.do(settling(&jobv1.SettleDebrisRequest{Finding: "f1", Explanation: "went out with the exhaust"}))
	if d := s.job().Debris[0]; d.GetFound() != 2 || d.GetSignedBy() != "ada" || len(s.job().unmetThings()) != 0 {
		t.Errorf("settled as %v", d)
	}
}
