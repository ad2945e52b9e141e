package torqueaudit

import (
	"context"
	"fmt"
	"time"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/engine/fastening"
	"ramprow/internal/platform/command"
	"ramprow/internal/platform/readmodel"
	pb "ramprow/proto/ramprow/torque_audit/v1"
)

const indexDue = "due"

// dueOrder sorts wrenches by when they need something; at once comes first.
// Empty: the wrench needs nothing, ever.
func dueOrder(w *pb.Wrench) string {
	switch {
	case w.GetRetired() || w.GetKind() == pb.WrenchKind_WRENCH_KIND_GUN:
		return ""
	case whyNow(w) != "":
		return fmt.Sprintf("%020d", 0)
	case w.GetCalibrationDue() == nil:
		return ""
	}
	return fmt.Sprintf("%020d", max(0, w.GetCalibrationDue().GetSeconds()))
}

// whyNow says why a wrench needs something whatever the date.
func whyNow(w *pb.Wrench) string {
	switch {
	case w.GetLastCheck() != nil && !w.GetLastCheck().GetPassed():
		return "it failed its last check"
	case w.GetCycles() >= fastening.CyclesToCalibration:
		return fmt.Sprintf("it has done %d readings since its calibration", w.GetCycles())
	case w.GetCalibrationDue() == nil && measuresTorque(w.GetKind()):
		return "it has no calibration"
	}
	return ""
}

// dueOf says what a wrench needs as of a moment.
func dueOf(w *pb.Wrench, now time.Time) *pb.WrenchDue {
	if why := whyNow(w); why != "" {
		return &pb.WrenchDue{Wrench: w, Why: why, Overdue: true}
	}
	at := w.GetCalibrationDue().AsTime()
	if now.Before(at) {
		return &pb.WrenchDue{Wrench: w, DueAt: w.GetCalibrationDue(), Why: "its calibration is due on " + date(at)}
	}
	return &pb.WrenchDue{Wrench: w, DueAt: w.GetCalibrationDue(), Why: "its calibration was due on " + date(at), Overdue: true}
}

// ListWrenchesDue gives what needs a calibration or a check, most urgent first.
func (s *Server) ListWrenchesDue(ctx context.Context, req *pb.ListWrenchesDueRequest) (*pb.ListWrenchesDueResponse, error) {
	who, err := command.Caller(ctx)
	if err != nil {
		return nil, err
	}
	page, err := s.views.List(ctx, readmodel.ListQuery{
		Site: who.Site, Model: modelWrench, Index: indexDue, PageSize: int(req.GetPageSize()),
		PageToken: req.GetPageToken(), MinRevision: req.GetMinRevision(),
	}, func() proto.Message { return &pb.Wrench{} })
	if err != nil {
		return nil, err
	}
	resp := &pb.ListWrenchesDueResponse{NextPageToken: page.NextToken}
	now := s.now()
	until := now.AddDate(0, 0, int(req.GetWithinDays()))
	for _, w := range rowsOf[*pb.Wrench](page) {
		due := dueOf(w, now)
		if !due.GetOverdue() && due.GetDueAt().AsTime().After(until) {
			resp.NextPageToken = "" // all that follow are due later
			break
		}
		resp.Due = append(resp.Due, due)
	}
	return resp, nil
}
