package torqueaudit

import (
	"fmt"
	"strings"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	pb "ramprow/proto/ramprow/torque_audit/v1"
)

func decideSignDeparture(st *State, in sitelog.Input, req *pb.SignDepartureRequest) ([]proto.Message, *pb.SignDepartureResponse, error) {
	sh, err := st.open(req.GetJob())
	if err != nil {
		return nil, nil, err
	}
	j, err := sh.joint(req.GetJoint())
	if err != nil {
		return nil, nil, err
	}
	first, second := strings.TrimSpace(req.GetFirstPerson()), strings.TrimSpace(in.Actor.Person)
	switch {
	case j.settled():
		return nil, nil, fault.New(fault.Precondition, "JOINT_SETTLED", "%s needs no departure: it is %s", j.due.GetTitle(), stateWords[j.state()])
	case first == "" || second == "" || strings.EqualFold(first, second):
		return nil, nil, fault.New(fault.Invalid, "SECOND_PERSON_NEEDED", "a departure takes two persons: have somebody other than %s sign it", req.GetFirstPerson()).
			WithField("first_person", "must be another person than the one who signs")
	case strings.TrimSpace(req.GetReason()) == "":
		return nil, nil, fault.New(fault.Invalid, "REASON_NEEDED", "say why the joint cannot be proved as written").WithField("reason", "must not be blank")
	}
	events := []proto.Message{&pb.DepartureSigned{Job: sh.job, Joint: req.GetJoint(), Departure: &pb.Departure{
		Reason: req.GetReason(), FirstPerson: first, SecondPerson: second, At: timestamppb.New(in.Now),
	}}}
	return events, &pb.SignDepartureResponse{Sheet: sh.after(in, events...).render()}, nil
}

func decideSignSheet(st *State, in sitelog.Input, req *pb.SignSheetRequest) ([]proto.Message, *pb.SignSheetResponse, error) {
	sh, err := st.open(req.GetJob())
	if err != nil {
		return nil, nil, err
	}
	if sh.complete {
		return nil, nil, fault.New(fault.Precondition, "SHEET_COMPLETE", "the audit of %s is complete already; nothing is left to sign", req.GetJob())
	}
	if strings.TrimSpace(in.Actor.Person) == "" {
		return nil, nil, fault.New(fault.Denied, "SIGNER_UNNAMED", "an audit is signed by name; call with a token that names a person")
	}
	// A joint that only had to rest may have become proved by the time alone.
	events := sh.newlyProved(in.Now)
	after := sh.after(in, events...)
	if !after.allSettled() {
		return nil, nil, after.unsettled()
	}
	events = append(
		events,
		&pb.SheetSigned{Job: sh.job, By: in.Actor.Person},
		&pb.SheetCompleted{Job: sh.job, PlanRevision: sh.revision, Joints: uint32(len(sh.live()))}, //nolint:gosec // a sheet has few joints
	)
	events = append(events, after.askRechecks(in.Now)...)
	return events, &pb.SignSheetResponse{Sheet: sh.after(in, events...).render()}, nil
}

// unsettled refuses the signature with one unmet condition per joint.
func (s *sheet) unsettled() error {
	f := fault.New(fault.Precondition, "JOINTS_NOT_PROVED", "the audit of %s cannot be signed: %s", s.job, strings.Join(s.left(), "; ")).With("job", s.job)
	for _, j := range s.live() {
		if !j.settled() {
			f.WithUnmet(fault.Unmet{
				Type: "JOINT_NOT_PROVED", Subject: s.name() + "/joints/" + j.due.GetJoint(),
				Description: j.leftWords(s.since),
			})
		}
	}
	return f
}

func decideReopenSheet(st *State, in sitelog.Input, req *pb.ReopenSheetRequest) ([]proto.Message, *pb.ReopenSheetResponse, error) {
	sh, err := st.open(req.GetJob())
	if err != nil {
		return nil, nil, err
	}
	for _, id := range req.GetJoints() {
		if _, err := sh.joint(id); err != nil {
			return nil, nil, err
		}
	}
	events := []proto.Message{&pb.SheetReopened{
		Job: sh.job, PlanRevision: sh.revision, Joints: req.GetJoints(),
		Reason: fmt.Sprintf("%s (%s)", req.GetReason(), in.Actor.Person),
	}}
	return events, &pb.ReopenSheetResponse{Sheet: sh.after(in, events...).render()}, nil
}
