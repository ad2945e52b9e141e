package torqueaudit

import (
	"context"
	"errors"
	"io"
	"time"

	"google.golang.org/grpc"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	"ramprow/internal/engine/fastening/curve"
	"ramprow/internal/platform/fault"
	"ramprow/internal/platform/sitelog"
	pb "ramprow/proto/ramprow/torque_audit/v1"
)

const (
	// maxCurveSamples bounds one curve: twenty seconds at 10,000 samples a second.
	maxCurveSamples = 200_000
	// maxCurves bounds how many tools send at once; each holds its samples in memory.
	maxCurves = 32
	// curvePatience bounds how long a tool may take for one curve.
	curvePatience = 10 * time.Minute
)

// RecordCurve takes a curve as its tool measures it, and keeps what it shows.
func (s *Server) RecordCurve(stream grpc.ClientStreamingServer[pb.RecordCurveRequest, pb.RecordCurveResponse]) error {
	select {
	case s.curves <- struct{}{}:
		defer func() { <-s.curves }()
	default:
		return fault.New(fault.Exhausted, "TOO_MANY_CURVES", "%d tools send curves already; send it again in a moment", maxCurves)
	}
	ctx, cancel := context.WithTimeout(stream.Context(), curvePatience)
	defer cancel()
	head, samples, err := s.receiveCurve(ctx, stream)
	if err != nil {
		return err
	}
	shown, err := analysed(head, samples)
	if err != nil {
		return err
	}
	keep := &pb.KeepCurve{RequestId: head.GetRequestId(), Job: head.GetJob(), Curve: shown}
	resp, receipt, err := decided(ctx, s, keep, decideCurve)
	if err != nil {
		return err
	}
	resp.Receipt = receipt
	return stream.SendAndClose(resp)
}

// receiveCurve reads a stream to its end. What cannot be kept is refused before
// the samples come.
func (s *Server) receiveCurve(ctx context.Context, stream grpc.ClientStreamingServer[pb.RecordCurveRequest, pb.RecordCurveResponse]) (*pb.RecordCurveRequest, []curve.Sample, error) {
	head, err := stream.Recv()
	if err != nil {
		return nil, nil, firstMissing(err)
	}
	if err := validHead(head); err != nil {
		return nil, nil, err
	}
	if _, err := s.read(ctx, head.GetJob(), 0); err != nil {
		return nil, nil, err
	}
	var samples []curve.Sample
	for piece := head; ; {
		if samples, err = appended(samples, piece); err != nil {
			return nil, nil, err
		}
		piece, err = stream.Recv()
		if errors.Is(err, io.EOF) {
			return head, samples, nil
		}
		if err != nil {
			return nil, nil, err
		}
		if err := ctx.Err(); err != nil {
			return nil, nil, fault.New(fault.Deadline, "CURVE_TOO_SLOW", "a curve has %s to come; send it again", curvePatience)
		}
		if piece.GetRequestId() != "" || piece.GetJob() != "" || piece.GetJoint() != "" || piece.GetWrench() != "" {
			return nil, nil, fault.New(fault.Invalid, "CURVE_MALFORMED", "a curve is of one fastener: only its first message names one").
				WithField("request_id", "must stand in the first message only")
		}
	}
}

func firstMissing(err error) error {
	if errors.Is(err, io.EOF) {
		return fault.New(fault.Invalid, "CURVE_MALFORMED", "the stream ended before it began; send the fastener and the samples").
			WithField("request_id", "must be given in the first message")
	}
	return err
}

func validHead(head *pb.RecordCurveRequest) error {
	f := fault.New(fault.Invalid, "CURVE_MALFORMED", "the first message of a curve says of which fastener it is; correct the named fields")
	for field, given := range map[string]bool{
		"request_id": head.GetRequestId() != "", "job": head.GetJob() != "", "joint": head.GetJoint() != "",
		"wrench": head.GetWrench() != "",
	} {
		if !given {
			f.WithField(field, "must be given in the first message")
		}
	}
	if len(f.Fields) > 0 {
		return f
	}
	return nil
}

func appended(samples []curve.Sample, piece *pb.RecordCurveRequest) ([]curve.Sample, error) {
	angles, torques := piece.GetAngleDeg(), piece.GetTorqueNm()
	switch {
	case len(angles) != len(torques):
		return nil, fault.New(fault.Invalid, "CURVE_MALFORMED", "a message brings %d angles and %d torques; send as many of both", len(angles), len(torques)).
			WithField("torque_nm", "must have as many values as angle_deg")
	case len(samples)+len(angles) > maxCurveSamples:
		return nil, fault.New(fault.Exhausted, "CURVE_TOO_LONG", "a curve has at most %d samples; cut it to the tightening itself", maxCurveSamples)
	}
	for i, a := range angles {
		samples = append(samples, curve.Sample{Angle: a, Torque: torques[i]})
	}
	return samples, nil
}

// analysed says what the samples show.
func analysed(head *pb.RecordCurveRequest, samples []curve.Sample) (*pb.Curve, error) {
	r, err := curve.Analyse(samples, curve.Settings{})
	if err != nil {
		return nil, fault.New(fault.Invalid, "CURVE_UNUSABLE", "the curve cannot be read: %v", err).WithField("angle_deg", "%v", err)
	}
	out := &pb.Curve{
		Joint: head.GetJoint(), Fastener: head.GetFastener(), Stage: head.GetStage(), Wrench: head.GetWrench(), At: head.GetAt(),
		Samples: small(len(samples)), Digest: curve.Digest(samples), Peak: point(&r.Peak), End: point(&r.End), Yield: point(r.Yield),
		StickSlip: r.StickSlip, CrossThread: r.CrossThread, Stripped: r.Stripped, Remarks: r.Remarks(),
	}
	if r.Elastic != nil {
		out.Snug, out.GradientNmPerDeg = &pb.CurvePoint{AngleDeg: r.Elastic.Snug}, r.Elastic.Gradient
	}
	return out, nil
}

func point(p *curve.Point) *pb.CurvePoint {
	if p == nil {
		return nil
	}
	return &pb.CurvePoint{AngleDeg: p.Angle, TorqueNm: p.Torque}
}

// decideCurve keeps a curve beside its joint. It proves no stage: a curve shows
// what happened, and a reading says what counts.
func decideCurve(st *State, in sitelog.Input, req *pb.KeepCurve) ([]proto.Message, *pb.RecordCurveResponse, error) {
	sh, err := st.open(req.GetJob())
	if err != nil {
		return nil, nil, err
	}
	kept := proto.CloneOf(req.GetCurve())
	j, err := sh.joint(kept.GetJoint())
	if err != nil {
		return nil, nil, err
	}
	if _, err := st.wrench(kept.GetWrench()); err != nil {
		return nil, nil, err
	}
	at, err := readingTime(kept.GetAt(), in.Now)
	if err != nil {
		return nil, nil, err
	}
	if kept.GetFastener() < 1 || kept.GetFastener() > j.due.GetFasteners() {
		return nil, nil, fault.New(fault.Invalid, "CURVE_MALFORMED", "%s has bolts 1 to %d", j.due.GetTitle(), j.due.GetFasteners()).
			WithField("fastener", "is %d, but the joint has bolts 1 to %d", kept.GetFastener(), j.due.GetFasteners())
	}
	if err := sh.roomForCurve(j, kept.GetFastener()); err != nil {
		return nil, nil, err
	}
	kept.Number, kept.At, kept.By = small(len(j.curves)+1), timestamppb.New(at), in.Actor.Person
	return []proto.Message{&pb.CurveRecorded{Job: sh.job, Curve: kept}}, &pb.RecordCurveResponse{Curve: kept}, nil
}
