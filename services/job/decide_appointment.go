package job

import (
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	jobv1 "ramprow/proto/ramprow/job/v1"
)

// reappoint changes when a car comes, by when it is wanted, and how urgent it is.
// What is as it was is no news.
func reappoint(j *Job, in sitelog.Input, req *jobv1.ChangeAppointmentRequest) ([]proto.Message, error) {
	if err := appointable(j, in, req); err != nil {
		return nil, err
	}
	after := &jobv1.AppointmentChanged{
		Job: j.Name, ExpectedAt: stamp(j.ExpectedAt), WantedBy: stamp(j.WantedBy), Priority: j.Priority, Reason: req.GetReason(),
	}
	before := proto.CloneOf(after)
	if req.GetExpectedAt() != nil {
		after.ExpectedAt = req.GetExpectedAt()
	}
	if req.GetWantedBy() != nil || req.GetClearWantedBy() {
		after.WantedBy = req.GetWantedBy()
	}
	if req.Priority != nil {
		after.Priority = req.GetPriority()
	}
	if proto.Equal(before, after) {
		return nil, nil
	}
	return []proto.Message{after}, nil
}

func appointable(j *Job, in sitelog.Input, req *jobv1.ChangeAppointmentRequest) error {
	past := func(t *timestamppb.Timestamp) bool { return t != nil && !t.AsTime().After(in.Now) }
	switch {
	case req.GetExpectedAt() == nil && req.GetWantedBy() == nil && !req.GetClearWantedBy() && req.Priority == nil:
		return fault.New(fault.Invalid, "NOTHING_TO_CHANGE", "say what changes: when the car comes, by when it is wanted, or its priority").
			WithField("expected_at", "or wanted_by, clear_wanted_by or priority is needed")
	case req.GetWantedBy() != nil && req.GetClearWantedBy():
		return fault.New(fault.Invalid, "WANTED_BY_AND_NOT", "the car is either wanted by a time or it is not").
			WithField("clear_wanted_by", "contradicts wanted_by")
	case past(req.GetWantedBy()):
		return fault.New(fault.Invalid, "WANTED_BY_PAST", "the car cannot be wanted before now").WithField("wanted_by", "lies in the past")
	case past(req.GetExpectedAt()):
		return fault.New(fault.Invalid, "EXPECTED_AT_PAST", "if the car came already, say so with 'ramprow job receive %s'", numberOf(j.Name)).
			WithField("expected_at", "lies in the past")
	case req.GetExpectedAt() != nil && (j.Received || len(j.Progress) > 0):
		return fault.New(fault.Precondition, "CAR_IS_HERE", "the car is on the yard; to keep its work from beginning, move its booking with 'ramprow bay move %s'", numberOf(j.Name)).
			With("job", j.Name)
	}
	return nil
}
