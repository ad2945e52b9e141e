package torqueaudit

import (
	"fmt"
	"strings"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/engine/fastening"
	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	pb "ramprow/proto/ramprow/torque_audit/v1"
)

// rechecked gives a sheet and a joint whose re-check is still to be done.
func (s *State) rechecked(job, id string) (*sheet, *joint, *pb.JointRecheck, error) {
	sh, err := s.open(job)
	if err != nil {
		return nil, nil, nil, err
	}
	j := sh.find(id)
	if j == nil {
		return nil, nil, nil, noJoint(job, id)
	}
	if r := j.openRecheck(); r != nil {
		return sh, j, r, nil
	}
	return nil, nil, nil, fault.New(fault.Precondition, "RECHECK_NOT_DUE", "%s of %s has no re-check to be done; see the list of re-checks", j.due.GetTitle(), job).
		With("job", job).With("joint", id)
}

// decideRecheckReading keeps what was found at one fastener. One that moved
// ends the re-check and opens the joint again; with the last one at rest it held.
func decideRecheckReading(st *State, in sitelog.Input, req *pb.PostRecheckReadingRequest) ([]proto.Message, *pb.PostRecheckReadingResponse, error) {
	sh, j, r, err := st.rechecked(req.GetJob(), req.GetJoint())
	if err != nil {
		return nil, nil, err
	}
	w, err := st.wrench(req.GetWrench())
	if err != nil {
		return nil, nil, err
	}
	at, err := readingTime(req.GetAt(), in.Now)
	if err != nil {
		return nil, nil, err
	}
	if err := tooEarly(r, at, req.GetOdometerKm()); err != nil {
		return nil, nil, err
	}
	if len(r.GetReadings()) >= maxTriesPerFastener*int(r.GetFasteners()) {
		return nil, nil, full("RECHECK_FULL", "this re-check has %d readings already; have the joint tightened anew: ramprow tighten reopen", len(r.GetReadings())).With("joint", req.GetJoint())
	}
	hand, err := w.with(req.GetAdapter())
	if err != nil {
		return nil, nil, err
	}
	value, err := shown(req.GetTorqueNm(), req.GetTorque())
	if err != nil {
		return nil, nil, err
	}
	torque, err := hand.applied(value)
	if err != nil {
		return nil, nil, err
	}
	engine := recheckEngine(r)
	found, err := engine.Judge(fastening.Reading{Fastener: int(req.GetFastener()), TorqueNM: torque, Moved: req.GetMoved(), At: at}, hand.tool)
	if err != nil {
		return nil, nil, malformed(err)
	}
	reading := &pb.Reading{
		Number: small(len(r.GetReadings()) + 1), Joint: req.GetJoint(), Fastener: req.GetFastener(), Stage: 1, Round: r.GetNumber(),
		Wrench: req.GetWrench(), TorqueNm: torque, Moved: req.GetMoved(), At: timestamppb.New(at), By: in.Actor.Person,
		Verdict: verdicts[found.Verdict], Counts: found.Counts, Reason: found.Reason, Risk: found.Risk, Basis: basisOf(engine.Rule, w, at),
		GivenTorque: req.GetTorque().GetValue(), GivenUnit: req.GetTorque().GetUnit(),
	}
	reading.Basis.Asked, reading.Basis.TorqueLowNm, reading.Basis.TorqueHighNm = engine.Ask(), r.GetLowNm(), r.GetHighNm()
	if hand.adapter != nil {
		reading.Adapter, reading.SettingNm = hand.adapter, value
	}
	events := []proto.Message{&pb.RecheckReadingPosted{Job: sh.job, Joint: req.GetJoint(), Reading: reading, OdometerKm: req.GetOdometerKm()}}
	events = append(events, sh.concluded(j, r, reading, found.Failed)...)
	after := sh.after(in, events...)
	return events, &pb.PostRecheckReadingResponse{Reading: reading, Recheck: after.find(req.GetJoint()).lastRecheck(), SheetState: after.state()}, nil
}

// concluded says what a reading brings about.
func (s *sheet) concluded(j *joint, r *pb.JointRecheck, reading *pb.Reading, failed bool) []proto.Message {
	ended := &pb.RecheckEnded{
		Job: s.job, Joint: r.GetJoint(), Title: r.GetTitle(), Number: r.GetNumber(), State: pb.RecheckState_RECHECK_STATE_HELD, By: reading.GetBy(), Reason: "no fastener moved",
	}
	if !failed {
		tried := proto.CloneOf(r)
		tried.Readings = append(tried.Readings, reading)
		if len(untried(tried)) > 0 {
			return nil
		}
		return []proto.Message{ended}
	}
	ended.State, ended.Reason = pb.RecheckState_RECHECK_STATE_FAILED, reading.GetReason()
	if j.dropped {
		ended.Reason += "; the plan no longer has this joint, so have it revised"
		return []proto.Message{ended}
	}
	return []proto.Message{ended, &pb.SheetReopened{
		Job: s.job, PlanRevision: s.revision, Joints: []string{r.GetJoint()},
		Reason: fmt.Sprintf("to be tightened again: %s did not hold at its re-check: bolt %d moved", r.GetTitle(), reading.GetFastener()),
	}}
}

// tooEarly refuses a re-check before the car has run. Where distance and running
// are given, either is enough; an odometer that nobody read is no obstacle.
func tooEarly(r *pb.JointRecheck, at time.Time, odometer float64) error {
	asked := r.GetAskedAt().AsTime()
	refuse := func(format string, args ...any) error {
		return fault.New(fault.Precondition, "RECHECK_TOO_EARLY", format, args...).With("job", r.GetJob()).With("joint", r.GetJoint())
	}
	ran := r.GetAfterMinutes() > 0 && !at.Before(asked.Add(runningTime(r)))
	switch {
	case at.Before(asked):
		return refuse("the re-check of %s was asked for on %s, after this reading; try the fasteners once the car has run", r.GetTitle(), date(asked))
	case ran:
	case odometer > 0 && odometer < r.GetDueOdometerKm():
		return refuse("the car has run %.0f km, and %s is tried again from %.0f km on; let it run first", odometer, r.GetTitle(), r.GetDueOdometerKm())
	case r.GetAfterKm() == 0 && r.GetAfterMinutes() > 0:
		return refuse("%s is tried again after %g minutes of running; let it run first", r.GetTitle(), r.GetAfterMinutes())
	}
	return nil
}

func decideWaiveRecheck(st *State, in sitelog.Input, req *pb.WaiveRecheckRequest) ([]proto.Message, *pb.WaiveRecheckResponse, error) {
	sh, j, r, err := st.rechecked(req.GetJob(), req.GetJoint())
	if err != nil {
		return nil, nil, err
	}
	reason := strings.TrimSpace(req.GetReason())
	switch {
	case reason == "":
		return nil, nil, fault.New(fault.Invalid, "REASON_NEEDED", "say why the re-check will not be done here, as in 'done elsewhere'").WithField("reason", "must not be blank")
	case strings.TrimSpace(in.Actor.Person) == "":
		return nil, nil, fault.New(fault.Denied, "SIGNER_UNNAMED", "a re-check is given up by name; call with a token that names a person")
	}
	events := []proto.Message{&pb.RecheckEnded{
		Job: sh.job, Joint: req.GetJoint(), Title: j.due.GetTitle(), Number: r.GetNumber(), State: pb.RecheckState_RECHECK_STATE_WAIVED, By: in.Actor.Person, Reason: reason,
	}}
	return events, &pb.WaiveRecheckResponse{Recheck: sh.after(in, events...).find(req.GetJoint()).lastRecheck()}, nil
}

// remindRechecks says of re-checks that are due and not done, and ends those to
// which nobody has come.
func (s *State) remindRechecks(in sitelog.Input) []proto.Message {
	var events []proto.Message
	for _, sh := range s.inOrder() {
		if !s.rechecking[sh.job] {
			continue
		}
		for _, j := range sh.joints {
			r := j.openRecheck()
			if r == nil || recheckAt(r).After(in.Now) {
				continue
			}
			if len(events) == remindedAtOnce {
				return events
			}
			if !r.GetReminded() {
				events = append(events, &pb.RecheckReminded{Job: sh.job, Joint: r.GetJoint(), DueAt: r.GetDueAt()})
				continue
			}
			events = append(events, &pb.RecheckEnded{
				Job: sh.job, Joint: r.GetJoint(), Title: r.GetTitle(), Number: r.GetNumber(), State: pb.RecheckState_RECHECK_STATE_LAPSED,
				Reason: fmt.Sprintf("nobody came by %s", date(recheckAt(r))),
			})
		}
	}
	return events
}

// remindedAtOnce bounds a commit; the rest follows in the next.
const remindedAtOnce = 64

// recheckAt is when something has to be said of a re-check.
func recheckAt(r *pb.JointRecheck) time.Time {
	if r.GetReminded() {
		return r.GetDueAt().AsTime().Add(recheckPatience)
	}
	return r.GetDueAt().AsTime()
}

// recheckDue gives the earliest of them.
func (s *State) recheckDue() (earliest time.Time, pending bool) {
	for job := range s.rechecking {
		for _, j := range s.sheets[job].joints {
			if r := j.openRecheck(); r != nil && (!pending || recheckAt(r).Before(earliest)) {
				earliest, pending = recheckAt(r), true
			}
		}
	}
	return earliest, pending
}
