package torqueaudit

import (
	"errors"
	"fmt"
	"slices"
	"time"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/engine/fastening"
	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	pb "ramprow/proto/ramprow/torque_audit/v1"
)

// clockSkew is how far a terminal's clock may be ahead.
const clockSkew = 2 * time.Minute

func decidePostReading(st *State, in sitelog.Input, req *pb.PostReadingRequest) ([]proto.Message, *pb.PostReadingResponse, error) {
	sh, j, err := st.tightenable(req.GetJob(), req.GetJoint())
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
	use, err := st.nextUse(sh, j, req.GetFastener())
	if err != nil {
		return nil, nil, err
	}
	if err := sh.roomForReading(); err != nil {
		return nil, nil, err
	}
	judgement, err := j.track.Judge(fastening.Reading{
		Fastener: int(req.GetFastener()), Stage: int(req.GetStage()), TorqueNM: torque,
		AngleDeg: req.GetAngleDeg(), Moved: req.GetMoved(), At: at,
	}, hand.tool)
	if err != nil {
		return nil, nil, malformed(err)
	}
	reading := &pb.Reading{
		Number: sh.readings + 1, Joint: req.GetJoint(), Fastener: req.GetFastener(),
		Stage: uint32(judgement.Stage), Round: uint32(judgement.Round), //nolint:gosec // both small and from 1
		Wrench: req.GetWrench(), TorqueNm: torque, AngleDeg: req.GetAngleDeg(), Moved: req.GetMoved(),
		At: timestamppb.New(at), By: in.Actor.Person, Verdict: verdicts[judgement.Verdict],
		Counts: judgement.Counts, Reason: judgement.Reason, Risk: judgement.Risk,
		Basis: basis(j, judgement.Stage, w, at), GivenTorque: req.GetTorque().GetValue(), GivenUnit: req.GetTorque().GetUnit(),
	}
	if judgement.Counts {
		reading.Use = use
	}
	if hand.adapter != nil {
		reading.Adapter, reading.SettingNm = hand.adapter, value
	}
	posted := &pb.ReadingPosted{Job: sh.job, Reading: reading}
	after := sh.after(in, posted)
	proved := after.newlyProved(in.Now)
	after.advance(in, proved...)
	next, err := withSetting(after.nextTurn(req.GetJoint()), req.GetAdapter())
	if err != nil {
		return nil, nil, err
	}
	return append([]proto.Message{posted}, proved...), &pb.PostReadingResponse{
		Reading: reading, Next: next, Left: after.left(),
		JointProved: after.find(req.GetJoint()).proved, SheetState: after.state(),
	}, nil
}

// newlyProved gives the events of joints whose last requirement is met.
func (s *sheet) newlyProved(now time.Time) []proto.Message {
	var events []proto.Message
	for _, j := range s.live() {
		if !j.settled() && j.ready && j.track != nil && j.track.Proved(now) {
			rounds := uint32(max(1, j.track.Rounds())) //nolint:gosec // a small count
			events = append(events, &pb.JointProved{Job: s.job, Joint: j.due.GetJoint(), Rounds: rounds, FirstTime: j.rightFirstTime()})
		}
	}
	return events
}

// rightFirstTime tells whether no reading failed, and the joint was not opened again. A reading that was taken out as a
// mistake is none.
func (j *joint) rightFirstTime() bool {
	return j.from == 0 && !slices.ContainsFunc(j.readings, func(r *pb.Reading) bool {
		return r.GetCorrectedBy() == 0 &&
			(r.GetVerdict() == pb.Verdict_VERDICT_OUTSIDE_NOT_PROVED || r.GetVerdict() == pb.Verdict_VERDICT_DOES_NOT_CONFORM)
	})
}

func readingTime(told *timestamppb.Timestamp, now time.Time) (time.Time, error) {
	if told == nil {
		return now, nil
	}
	if told.CheckValid() != nil {
		return time.Time{}, fault.New(fault.Invalid, "READING_MALFORMED", "the reading's time cannot be used; send it as a valid time").
			WithField("at", "must be a valid time")
	}
	if told.AsTime().After(now.Add(clockSkew)) {
		return time.Time{}, fault.New(fault.Invalid, "READING_IN_FUTURE", "the reading's time lies in the future; set the terminal's clock and send it again").
			WithField("at", "must not be later than %s", now.UTC().Format(time.RFC3339))
	}
	return told.AsTime(), nil
}

func malformed(err error) error {
	f := fault.New(fault.Invalid, "READING_MALFORMED", "the reading cannot be used: %v", err)
	if r, ok := errors.AsType[*fastening.ReadingError](err); ok {
		f.WithField(r.Field, "%s", r.Problem)
	}
	return f
}

func decideCorrectReading(st *State, in sitelog.Input, req *pb.CorrectReadingRequest) ([]proto.Message, *pb.CorrectReadingResponse, error) {
	sh, err := st.open(req.GetJob())
	if err != nil {
		return nil, nil, err
	}
	wrong := sh.reading(req.GetNumber())
	switch {
	case wrong == nil:
		return nil, nil, fault.New(fault.NotFound, "READING_NOT_FOUND", "the sheet of %s has no reading %d; look at its list of readings", req.GetJob(), req.GetNumber()).
			About("Reading", sh.name())
	case wrong.GetWrench() == "":
		return nil, nil, fault.New(fault.Precondition, "READING_IS_CORRECTION", "reading %d is itself a correction; post what was really done as a new reading", req.GetNumber())
	case wrong.GetCorrectedBy() != 0:
		return nil, nil, fault.New(fault.Precondition, "READING_CORRECTED", "reading %d was already taken out by %d; post what was really done as a new reading", req.GetNumber(), wrong.GetCorrectedBy())
	}
	events := []proto.Message{&pb.ReadingCorrected{
		Job: sh.job, Number: req.GetNumber(), Reason: req.GetReason(),
		By: &pb.Reading{
			Number: sh.readings + 1, Joint: wrong.GetJoint(), Fastener: wrong.GetFastener(), Stage: wrong.GetStage(), Round: wrong.GetRound(),
			At: timestamppb.New(in.Now), By: in.Actor.Person, Reason: "takes out reading: " + req.GetReason(), TakesOut: req.GetNumber(),
		},
	}}
	events = append(events, sh.corrected(in, events[0], wrong)...)
	return events, &pb.CorrectReadingResponse{Sheet: sh.after(in, events...).render()}, nil
}

// corrected says what a correction brings about: the joint is still proved
// without the reading, or the sheet that rested on it opens again.
func (s *sheet) corrected(in sitelog.Input, correction proto.Message, wrong *pb.Reading) []proto.Message {
	j := s.find(wrong.GetJoint())
	if !j.proved || !wrong.GetCounts() {
		return nil
	}
	after := s.after(in, correction)
	events := after.newlyProved(in.Now)
	if after.advance(in, events...).find(wrong.GetJoint()).proved {
		return events
	}
	return append(events, &pb.SheetReopened{
		Job: s.job, PlanRevision: s.revision, Reason: fmt.Sprintf("reading %d of %s was taken out", wrong.GetNumber(), j.due.GetTitle()),
	})
}

func (s *sheet) reading(number uint32) *pb.Reading {
	for _, j := range s.joints {
		for _, r := range j.readings {
			if r.GetNumber() == number {
				return r
			}
		}
	}
	return nil
}
