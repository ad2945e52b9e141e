package torqueaudit

import (
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	cataloguev1 "ramprow/proto/ramprow/catalogue/v1"
	pb "ramprow/proto/ramprow/torque_audit/v1"
)

// stateWords names the states of a joint.
var stateWords = map[pb.JointState]string{
	pb.JointState_JOINT_STATE_WAITING:  "waiting",
	pb.JointState_JOINT_STATE_OPEN:     "open",
	pb.JointState_JOINT_STATE_PROVED:   "proved",
	pb.JointState_JOINT_STATE_DEPARTED: "departed from with two names",
	pb.JointState_JOINT_STATE_DROPPED:  "dropped",
}

func (s *sheet) state() pb.SheetState {
	switch {
	case s.void:
		return pb.SheetState_SHEET_STATE_VOID
	case s.complete:
		return pb.SheetState_SHEET_STATE_COMPLETE
	case s.allSettled():
		return pb.SheetState_SHEET_STATE_TO_SIGN
	case s.reopened:
		return pb.SheetState_SHEET_STATE_REOPENED
	default:
		return pb.SheetState_SHEET_STATE_OPEN
	}
}

func (j *joint) state() pb.JointState {
	switch {
	case j.dropped:
		return pb.JointState_JOINT_STATE_DROPPED
	case j.departure != nil:
		return pb.JointState_JOINT_STATE_DEPARTED
	case j.proved:
		return pb.JointState_JOINT_STATE_PROVED
	case j.ready && j.track != nil:
		return pb.JointState_JOINT_STATE_OPEN
	default:
		return pb.JointState_JOINT_STATE_WAITING
	}
}

func (s *sheet) render() *pb.Sheet {
	out := &pb.Sheet{
		Name: s.name(), Job: s.job, State: s.state(), Vehicle: s.vehicle, PlanRevision: s.revision,
		JointsProved: s.proved(), JointsDue: s.due(), Left: s.left(), SignedBy: s.signedBy,
		SignedAt: stamp(s.signedAt), OpenedAt: stamp(s.opened), UpdatedAt: stamp(s.since),
		Vin: s.vin, Customer: s.customer, Notice: s.notice, OdometerKm: s.odometer,
	}
	for _, j := range s.joints {
		out.Joints = append(out.Joints, j.render())
	}
	return out
}

func (s *sheet) summary() *pb.SheetSummary {
	return &pb.SheetSummary{
		Name: s.name(), Job: s.job, State: s.state(), JointsProved: s.proved(), JointsDue: s.due(),
		Next: s.nextTurn("").GetSay(),
	}
}

func (s *sheet) due() uint32 { return uint32(len(s.live())) } //nolint:gosec // a sheet has few joints

// proved counts the joints that need nothing more.
func (s *sheet) proved() uint32 {
	var n uint32
	for _, j := range s.live() {
		if j.settled() {
			n++
		}
	}
	return n
}

func (j *joint) render() *pb.JointSheet {
	out := &pb.JointSheet{
		Due: j.due, State: j.state(), Readings: j.readings, Departure: j.departure, Next: j.nextTurn(), Residuals: j.residuals, Curves: j.curves,
		Rechecks: j.rechecks, Uses: j.useCounts, Renewals: j.renewals, Preload: preloadOf(j.due, j.track),
	}
	if j.track != nil {
		out.Stages, _ = stagesOf(j.due)
		for _, n := range j.track.MovedByRound() {
			out.MovedByRound = append(out.MovedByRound, uint32(n)) //nolint:gosec // at most the number of fasteners
		}
	}
	return out
}

// nextTurn gives what is next at a joint, or at the first open one.
func (s *sheet) nextTurn(id string) *pb.NextTurn {
	for _, j := range s.live() {
		if id == "" || id == j.due.GetJoint() {
			if turn := j.nextTurn(); turn != nil || id != "" {
				return turn
			}
		}
	}
	return nil
}

func (j *joint) nextTurn() *pb.NextTurn {
	if j.state() != pb.JointState_JOINT_STATE_OPEN {
		return nil
	}
	turn, ok := j.track.Next()
	if !ok {
		return nil
	}
	return &pb.NextTurn{
		Joint: j.due.GetJoint(), Title: j.due.GetTitle(), Say: turn.Say, Spec: j.spec(turn.Stage),
		Fastener: small(turn.Fastener), Stage: small(turn.Stage), Round: small(turn.Round), Left: small(turn.Left),
	}
}

func (j *joint) spec(stage int) *cataloguev1.Stage {
	stages, _ := stagesOf(j.due)
	return stages[stage-1]
}

// left says joint by joint what is still to do.
func (s *sheet) left() []string {
	var words []string
	for _, j := range s.live() {
		if !j.settled() {
			words = append(words, j.leftWords(s.since))
		}
	}
	if len(words) == 0 && !s.complete && !s.void {
		words = []string{"every joint is proved; sign the audit"}
	}
	return words
}

func (j *joint) leftWords(now time.Time) string {
	switch {
	case j.track == nil:
		return j.due.GetTitle() + ": " + j.problem
	case !j.ready:
		return j.due.GetTitle() + ": waits for step " + j.due.GetForStep()
	default:
		return j.due.GetTitle() + ", " + j.track.Left(now)
	}
}

func (w *wrench) render() *pb.Wrench {
	out := &pb.Wrench{
		Name: w.tool.GetName(), Title: w.tool.GetTitle(), Kind: w.tool.GetKind(), MinNm: w.tool.GetMinNm(), MaxNm: w.tool.GetMaxNm(),
		DeviationPercent: w.tool.GetDeviationPercent(), Tool: w.tool.GetTool(), Retired: w.tool.GetRetired(), Cycles: w.cycles,
	}
	for _, c := range w.checks {
		out.LastCheck = c
		if c.GetCalibration() && c.GetPassed() {
			out.CalibratedAt, out.CalibrationDue, out.Certificate = c.GetAt(), c.GetCalibrationDue(), c.GetCertificate()
		}
	}
	return out
}

func stamp(t time.Time) *timestamppb.Timestamp {
	if t.IsZero() {
		return nil
	}
	return timestamppb.New(t)
}

func small(n int) uint32 { return uint32(n) } //nolint:gosec // a count of fasteners, stages or rounds
