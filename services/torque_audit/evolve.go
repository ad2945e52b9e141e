package torqueaudit

import (
	"slices"
	"time"

	"google.golang.org/protobuf/proto"

	"ramprow/internal/platform/sitelog"
	jobv1 "ramprow/proto/ramprow/job/v1"
	logv1 "ramprow/proto/ramprow/log/v1"
	pb "ramprow/proto/ramprow/torque_audit/v1"
)

// ofJob is any event of a sheet.
type ofJob interface{ GetJob() string }

func evolve(s *State, e sitelog.Event) {
	switch m := e.Message.(type) {
	case *pb.WrenchSet:
		s.setWrench(m.GetWrench())
		return
	case *pb.WrenchChecked:
		s.wrenches[m.GetWrench()].check(m.GetCheck())
		if m.GetCheck().GetPassed() {
			s.noteChecked(e.Time)
		}
		return
	case *pb.WrenchReminded:
		if w := s.wrenches[m.GetWrench()]; w != nil {
			w.reminded = reminder{Due: m.GetDueAt().AsTime(), Overdue: m.GetOverdue()}
		}
		return
	case *pb.LookBackMade:
		s.made++
		s.noteLookBack(m.GetLookBack())
		for _, line := range m.GetLookBack().GetLines() {
			s.noteSheet(line.GetJob(), e.Time)
		}
		return
	case *pb.LookBackSeen:
		s.seeLookBack(m.GetLookBack(), m.GetBy(), e.Time)
		s.settleLookBack(m.GetLookBack(), e.Time)
		return
	case *logv1.Archived:
		s.archive(m, e.Number, e.Time)
		return
	case *logv1.Recalled:
		s.recall(m, e.Time)
		return
	case *pb.SheetOpened:
		s.sheets[m.GetJob()] = &sheet{
			job: m.GetJob(), vehicle: m.GetVehicle(), vin: m.GetVin(), customer: m.GetCustomer(), notice: m.GetNotice(), opened: e.Time,
			odometer: m.GetOdometerKm(), pseudonym: m.GetCar(),
		}
	case *pb.ReadingPosted:
		s.operate(m.GetReading().GetWrench())
	case *pb.RecheckReadingPosted:
		s.operate(m.GetReading().GetWrench())
	}
	if m, ok := e.Message.(ofJob); ok && s.sheets[m.GetJob()] != nil {
		sh := s.sheets[m.GetJob()]
		sh.apply(e.Message, e.Time)
		s.noteUses(sh, e.Message)
		s.noteRechecks(sh)
		for _, name := range s.doubted[m.GetJob()] {
			s.settleLookBack(name, e.Time)
		}
		s.noteSheet(m.GetJob(), e.Time)
	}
}

// operate counts one more use of a wrench.
func (s *State) operate(wrench string) {
	if w := s.wrenches[wrench]; w != nil {
		w.cycles++
	}
}

// apply changes the sheet by one of its events.
func (s *sheet) apply(m proto.Message, at time.Time) {
	s.since = at
	switch m := m.(type) {
	case *pb.SheetOpened:
		s.follow(m.GetPlanRevision(), m.GetJoints(), at)
	case *pb.SheetRevised:
		s.follow(m.GetPlanRevision(), m.GetJoints(), at)
	case *pb.JointReady:
		for _, id := range m.GetJoints() {
			s.find(id).ready = true
		}
	case *pb.ReadingPosted:
		s.post(m.GetReading())
	case *pb.ReadingCorrected:
		s.correct(m)
	case *pb.ResidualRecorded:
		j := s.find(m.GetResidual().GetJoint())
		j.residuals = append(j.residuals, m.GetResidual())
	case *pb.CurveRecorded:
		j := s.find(m.GetCurve().GetJoint())
		j.curves = append(j.curves, m.GetCurve())
	case *pb.JointProved:
		s.find(m.GetJoint()).proved = true
	case *pb.DepartureSigned:
		s.find(m.GetJoint()).departure = m.GetDeparture()
	case *pb.SheetSigned:
		s.signedBy, s.signedAt = m.GetBy(), at
	case *pb.SheetCompleted:
		s.complete, s.reopened = true, false
	case *pb.SheetReopened:
		s.unsign()
		s.reopened = true
		for _, id := range m.GetJoints() {
			s.find(id).restart(at)
		}
	case *pb.SheetVoided:
		s.unsign()
		s.void = true
		for _, j := range s.joints {
			j.withdrawRecheck(at, "the job was cancelled")
		}
	case *pb.FastenersRenewed:
		s.find(m.GetJoint()).renew(m.GetRenewal())
	default:
		s.applyRecheck(m, at)
	}
}

func (s *sheet) unsign() { s.complete, s.signedBy, s.signedAt = false, "", time.Time{} }

// follow takes over the joints of a plan. What is no longer in it is dropped
// and kept; what is asked for anew begins anew.
func (s *sheet) follow(revision uint32, due []*jobv1.JointDue, at time.Time) {
	s.revision = revision
	s.unsign()
	for _, j := range s.joints {
		j.dropped = true
	}
	for _, d := range due {
		j := s.find(d.GetJoint())
		if j == nil {
			j = &joint{}
			s.joints = append(s.joints, j)
		}
		j.take(d, at)
	}
	s.arrange(due)
}

// arrange puts the joints in the plan's order, dropped ones last.
func (s *sheet) arrange(due []*jobv1.JointDue) {
	place := map[string]int{}
	for i, d := range due {
		place[d.GetJoint()] = i
	}
	rank := func(j *joint) int {
		if j.dropped {
			return len(due)
		}
		return place[j.due.GetJoint()]
	}
	slices.SortStableFunc(s.joints, func(a, b *joint) int { return rank(a) - rank(b) })
}

// take follows a joint's new description. Another tightening, or another step
// that tightens it, makes what was proved before worthless.
func (j *joint) take(d *jobv1.JointDue, at time.Time) {
	same := j.due != nil && sameWork(j.due, d)
	sameStep := j.due != nil && j.due.GetForStep() == d.GetForStep()
	j.due, j.dropped = d, false
	if !sameStep {
		j.ready = d.GetForStep() == ""
	}
	if !same || !sameStep {
		j.restart(at)
	}
}

// restart begins the tightening from its first stage. Earlier readings stay to
// be seen and count no more.
func (j *joint) restart(at time.Time) {
	j.from, j.proved, j.departure = len(j.readings), false, nil
	j.withdrawRecheck(at, "the joint is tightened anew")
	j.recheckFrom = len(j.rechecks)
	j.replay()
}

// replay follows the readings that may count from the beginning.
func (j *joint) replay() {
	j.track, j.problem = begin(j.due)
	if j.track == nil {
		return
	}
	for _, r := range j.readings[j.from:] {
		if r.GetCorrectedBy() == 0 {
			j.track.Apply(readingOf(r))
		}
	}
}

func (s *sheet) post(r *pb.Reading) {
	s.readings = max(s.readings, r.GetNumber())
	j := s.find(r.GetJoint())
	j.readings = append(j.readings, r)
	if j.track != nil {
		j.track.Apply(readingOf(r))
	}
}

// correct marks the mistaken reading, adds the correction beside it and looks
// at what is left. One that never counted was no part of a proof; after any
// other, the next event tells whether the joint is still proved.
func (s *sheet) correct(m *pb.ReadingCorrected) {
	s.readings = max(s.readings, m.GetBy().GetNumber())
	j := s.find(m.GetBy().GetJoint())
	j.readings = slices.Clone(j.readings)
	for i, r := range j.readings {
		if r.GetNumber() == m.GetNumber() {
			r = proto.CloneOf(r)
			r.CorrectedBy = m.GetBy().GetNumber()
			j.readings[i] = r
			j.proved = j.proved && !r.GetCounts()
		}
	}
	j.readings = append(j.readings, m.GetBy())
	j.replay()
}

func (s *State) setWrench(tool *pb.Wrench) {
	w := s.wrenches[tool.GetName()]
	if w == nil {
		w = &wrench{}
		s.wrenches[tool.GetName()] = w
		if tool.GetCalibratedAt() != nil {
			w.check(&pb.WrenchCheck{
				At: tool.GetCalibratedAt(), Passed: true, Calibration: true,
				Certificate: tool.GetCertificate(), CalibrationDue: tool.GetCalibrationDue(),
			})
		}
	}
	w.tool = tool
}

func (w *wrench) check(c *pb.WrenchCheck) {
	w.checks = append(w.checks, c)
	if c.GetCalibration() && c.GetPassed() {
		w.cycles = 0
	}
}
