package torqueaudit

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/engine/fastening"
	pb "ramprow/proto/ramprow/torque_audit/v1"
)

const (
	// A specification that names a distance alone leaves open by when somebody has
	// to ask: after days for a distance, a day for running. Common practice, no source.
	recheckDaysByDistance = 7
	recheckDaysByRunning  = 1
	// recheckPatience is how long after that a car may still come; it bounds what
	// is kept waiting. Common practice, no source.
	recheckPatience = 60 * 24 * time.Hour
)

// openRecheck gives the re-check that is still to be done; nil: none is.
func (j *joint) openRecheck() *pb.JointRecheck {
	if r := j.lastRecheck(); r.GetState() == pb.RecheckState_RECHECK_STATE_DUE {
		return r
	}
	return nil
}

func (j *joint) lastRecheck() *pb.JointRecheck {
	if len(j.rechecks) == 0 {
		return nil
	}
	return j.rechecks[len(j.rechecks)-1]
}

// changeRecheck puts a changed copy in the place of the last re-check.
func (j *joint) changeRecheck(change func(*pb.JointRecheck)) {
	last := len(j.rechecks) - 1
	if last < 0 {
		return
	}
	r := proto.CloneOf(j.rechecks[last])
	change(r)
	j.rechecks = slices.Clone(j.rechecks)
	j.rechecks[last] = r
}

func (j *joint) withdrawRecheck(at time.Time, reason string) {
	if j.openRecheck() != nil {
		j.endRecheck(at, pb.RecheckState_RECHECK_STATE_WITHDRAWN, "", reason)
	}
}

func (j *joint) endRecheck(at time.Time, state pb.RecheckState, by, reason string) {
	j.changeRecheck(func(r *pb.JointRecheck) {
		r.State, r.EndedAt, r.EndedBy, r.Reason, r.Says = state, timestamppb.New(at), by, reason, ""
	})
}

// applyRecheck changes the sheet by an event of a re-check.
func (s *sheet) applyRecheck(m proto.Message, at time.Time) {
	switch m := m.(type) {
	case *pb.RecheckAsked:
		j := s.find(m.GetJoint())
		j.rechecks = append(slices.Clip(j.rechecks), m.GetRecheck())
	case *pb.RecheckReadingPosted:
		s.find(m.GetJoint()).changeRecheck(func(r *pb.JointRecheck) {
			r.Readings = append(r.Readings, m.GetReading())
			if m.GetOdometerKm() > 0 {
				r.DoneOdometerKm = m.GetOdometerKm()
			}
		})
	case *pb.RecheckReminded:
		s.find(m.GetJoint()).changeRecheck(func(r *pb.JointRecheck) { r.Reminded = true })
	case *pb.RecheckEnded:
		s.find(m.GetJoint()).endRecheck(at, m.GetState(), m.GetBy(), m.GetReason())
	}
}

// noteRechecks keeps in mind whether a job has one that is still to be done.
func (s *State) noteRechecks(sh *sheet) {
	if slices.ContainsFunc(sh.joints, func(j *joint) bool { return j.openRecheck() != nil }) {
		s.rechecking[sh.job] = true
	} else {
		delete(s.rechecking, sh.job)
	}
}

// askRechecks announces what has to be checked again once the car has run. A
// joint that was departed from goes out like any other.
func (s *sheet) askRechecks(now time.Time) []proto.Message {
	var events []proto.Message
	for _, j := range s.live() {
		spec := j.due.GetRecheck()
		asks := spec.GetAfterKm() > 0 || spec.GetAfterMinutes() > 0 || spec.GetWithinDays() > 0
		if !asks || !j.settled() || len(j.rechecks) > j.recheckFrom {
			continue
		}
		if r := s.recheckOf(j, now); r != nil {
			events = append(events, &pb.RecheckAsked{Job: s.job, Joint: j.due.GetJoint(), Recheck: r})
		}
	}
	return events
}

// recheckOf makes the re-check of a joint; nil when no torque is known by which
// to try it, as for one that was departed from before its design was known.
func (s *sheet) recheckOf(j *joint, now time.Time) *pb.JointRecheck {
	spec := j.due.GetRecheck()
	window := j.recheckWindow()
	if window.Target == 0 {
		return nil
	}
	r := &pb.JointRecheck{
		Job: s.job, Joint: j.due.GetJoint(), Title: j.due.GetTitle(), Vehicle: s.vehicle, Customer: s.customer,
		Number: small(len(j.rechecks) + 1), State: pb.RecheckState_RECHECK_STATE_DUE, AskedAt: timestamppb.New(now),
		AfterKm: spec.GetAfterKm(), AfterMinutes: spec.GetAfterMinutes(), Fasteners: j.due.GetFasteners(),
		Rule: j.due.GetDecisionRule(), Cautions: j.due.GetCautions(),
		TorqueNm: window.Target, LowNm: window.Low(), HighNm: window.High(), DueSpecified: spec.GetWithinDays() > 0,
	}
	if spec.GetAfterKm() > 0 && s.odometer > 0 {
		r.DueOdometerKm = s.odometer + spec.GetAfterKm()
	}
	days := int(spec.GetWithinDays())
	switch {
	case days > 0:
	case spec.GetAfterKm() > 0:
		days = recheckDaysByDistance
	default:
		days = recheckDaysByRunning
	}
	r.DueAt = timestamppb.New(now.AddDate(0, 0, days))
	r.Says = recheckWords(r)
	return r
}

// recheckWindow is what must not move the fasteners: the torque of the
// specification, within the window of the stage that has the same one.
func (j *joint) recheckWindow() fastening.Window {
	window := fastening.Window{Target: j.due.GetRecheck().GetTorqueNm()}
	if j.track != nil {
		for _, s := range j.track.Joint().Stages {
			torque := s.Kind == fastening.Torque || s.Kind == fastening.Check
			if torque && (j.due.GetRecheck().GetTorqueNm() == 0 || s.Torque.Target == window.Target) {
				window = s.Torque
			}
		}
	}
	return fastening.Recheck{Torque: window}.Limits()
}

// recheckWords say when it is due.
func recheckWords(r *pb.JointRecheck) string {
	var after []string
	if r.GetAfterKm() > 0 {
		text := fmt.Sprintf("after %g km", r.GetAfterKm())
		if r.GetDueOdometerKm() > 0 {
			text += fmt.Sprintf(" (from %.0f km on)", r.GetDueOdometerKm())
		}
		after = append(after, text)
	}
	if r.GetAfterMinutes() > 0 {
		after = append(after, fmt.Sprintf("after %g minutes of running", r.GetAfterMinutes()))
	}
	when := "ask by " + date(r.GetDueAt().AsTime())
	if r.GetDueSpecified() {
		when = "by " + date(r.GetDueAt().AsTime()) + " at the latest"
	}
	return strings.TrimPrefix(strings.Join(after, " or ")+", "+when, ", ")
}

// recheckEngine gives a re-check as the engine judges it.
func recheckEngine(r *pb.JointRecheck) fastening.Recheck {
	c := fastening.Recheck{
		Fasteners: int(r.GetFasteners()), Rule: ruleOf(r.GetRule()),
		Torque: fastening.Window{Target: r.GetTorqueNm(), Minus: r.GetTorqueNm() - r.GetLowNm(), Plus: r.GetHighNm() - r.GetTorqueNm()},
	}
	if r.GetAfterKm() == 0 && r.GetAfterMinutes() > 0 {
		c.NotBefore = r.GetAskedAt().AsTime().Add(runningTime(r))
	}
	return c
}

func runningTime(r *pb.JointRecheck) time.Duration {
	return time.Duration(r.GetAfterMinutes() * float64(time.Minute))
}

// untried gives the fasteners that nobody found at rest yet.
func untried(r *pb.JointRecheck) []uint32 {
	var left []uint32
	for f := uint32(1); f <= r.GetFasteners(); f++ {
		if !slices.ContainsFunc(r.GetReadings(), func(x *pb.Reading) bool { return x.GetFastener() == f && x.GetCounts() }) {
			left = append(left, f)
		}
	}
	return left
}

// shownRecheck is the re-check of a joint that somebody still has to know of:
// one that is due, or that failed while the joint is not tight again; nil: none.
func (s *sheet) shownRecheck(j *joint) *pb.JointRecheck {
	last := j.lastRecheck()
	if last == nil || s.void {
		return nil
	}
	failed := last.GetState() == pb.RecheckState_RECHECK_STATE_FAILED && !j.settled() && !j.dropped
	if failed || last.GetState() == pb.RecheckState_RECHECK_STATE_DUE {
		return last
	}
	return nil
}
