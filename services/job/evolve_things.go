package job

import (
	"slices"

	"google.golang.org/protobuf/proto"

	jobv1 "ramprow/proto/ramprow/job/v1"
)

// applyThings is what was found, what came off, what is on the car and what is
// loose in the engine.
func (j *Job) applyThings(m proto.Message) bool {
	switch m := m.(type) {
	case *jobv1.FindingReported:
		j.Findings = append(j.Findings, m.GetFinding())
	case *jobv1.DesignFound:
		j.Vehicle = proto.CloneOf(j.Vehicle)
		if j.Vehicle.Features == nil {
			j.Vehicle.Features = map[string]string{}
		}
		j.Vehicle.Features[m.GetFeature()] = m.GetValue()
		j.Plan = narrowed(j.Plan, m.GetFeature(), m.GetValue())
	case *jobv1.PiecesStowed:
		j.Stowed = append(j.Stowed, m.GetPieces()...)
	case *jobv1.PiecesRefitted:
		j.settle(m.GetPieces())
	case *jobv1.PieceExplained:
		j.settle([]*jobv1.Stowed{{
			Piece: m.GetPiece(), Settled: m.GetCount(), State: jobv1.StowState_STOW_STATE_EXPLAINED,
			Explanation: m.GetExplanation(), SignedBy: m.GetSignedBy(),
		}})
	case *jobv1.DebrisNoted:
		j.Debris = append(j.Debris, m.GetDebris())
	case *jobv1.DebrisSettled:
		i := slices.IndexFunc(j.Debris, func(d *jobv1.Debris) bool { return d.GetFinding() == m.GetDebris().GetFinding() })
		if i >= 0 {
			j.Debris[i] = m.GetDebris()
		}
	case *jobv1.ToolPutOn:
		j.Tools = append(j.Tools, m.GetTool())
	case *jobv1.ToolTakenOff:
		j.Tools = slices.DeleteFunc(j.Tools, func(t *jobv1.ToolOnCar) bool { return t.GetTool() == m.GetTool() })
	default:
		return false
	}
	return true
}

// settle accounts for pieces that went back, were renewed or are explained:
// the oldest unsettled tray of a piece first.
func (j *Job) settle(moves []*jobv1.Stowed) {
	for _, move := range moves {
		left := move.GetSettled()
		for i, s := range j.Stowed {
			open := s.GetCount() - s.GetSettled()
			if left == 0 || s.GetPiece() != move.GetPiece() || open == 0 {
				continue
			}
			now := proto.CloneOf(s)
			now.Settled += min(open, left)
			left -= min(open, left)
			if move.GetExplanation() != "" {
				now.Explanation, now.SignedBy = move.GetExplanation(), move.GetSignedBy()
			}
			if now.GetSettled() == now.GetCount() {
				now.State = move.GetState()
			}
			j.Stowed[i] = now
		}
	}
}
