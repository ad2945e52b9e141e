package torqueaudit

import (
	"cmp"
	"fmt"
	"slices"
	"time"

	"google.golang.org/protobuf/proto"

	pb "ramprow/proto/ramprow/torque_audit/v1"
)

// lookBack reopens every joint that a wrench tightened since it was last known
// good, closed jobs included: a tool found out puts all of them in doubt
// (ISO 9001:2015 7.1.5.2, from memory).
func (s *State) lookBack(w *wrench, failed time.Time) []proto.Message {
	good := w.toolOf().LastGood(failed)
	var events []proto.Message
	for _, sh := range s.inOrder() {
		if sh.void {
			continue
		}
		var joints []string
		for _, j := range sh.live() {
			if j.departure == nil && j.restsOn(w.tool.GetName(), good) {
				joints = append(joints, j.due.GetJoint())
			}
		}
		if len(joints) > 0 {
			events = append(events, &pb.SheetReopened{
				Job: sh.job, PlanRevision: sh.revision, Joints: joints,
				Reason: fmt.Sprintf("to be checked again: %s failed its check on %s and was last known good %s",
					w.tool.GetTitle(), failed.UTC().Format("2 January 2006"), since(good)),
			})
		}
	}
	return events
}

func since(good time.Time) string {
	if good.IsZero() {
		return "never"
	}
	return "on " + good.UTC().Format("2 January 2006")
}

// restsOn tells whether a reading of the wrench after a time still counts for the joint.
func (j *joint) restsOn(wrench string, after time.Time) bool {
	return slices.ContainsFunc(j.readings[j.from:], func(r *pb.Reading) bool {
		return r.GetWrench() == wrench && r.GetCounts() && r.GetCorrectedBy() == 0 && r.GetAt().AsTime().After(after)
	})
}

// inOrder gives the sheets by job number.
func (s *State) inOrder() []*sheet {
	sheets := make([]*sheet, 0, len(s.sheets))
	for _, sh := range s.sheets {
		sheets = append(sheets, sh)
	}
	slices.SortFunc(sheets, func(a, b *sheet) int { return cmp.Compare(a.number(), b.number()) })
	return sheets
}
