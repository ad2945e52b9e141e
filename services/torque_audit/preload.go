package torqueaudit

import (
	"ramprow/internal/engine/fastening"
	"ramprow/internal/engine/fastening/bolt"
	jobv1 "ramprow/proto/ramprow/job/v1"
	pb "ramprow/proto/ramprow/torque_audit/v1"
)

// preloadOf is the clamping force that a joint's stages bring, with its
// scatter; nil where something is not known that it takes.
func preloadOf(d *jobv1.JointDue, track *fastening.Track) *pb.PreloadEstimate {
	if d.GetFriction() == 0 || track == nil {
		return nil
	}
	end, ok := track.Joint().End()
	if !ok {
		return nil
	}
	e, ok := bolt.EstimateOf(bolt.Tightening{
		Thread: d.GetThread(), Class: d.GetPropertyClass(), Friction: d.GetFriction(), Oiled: d.GetOiled(),
		TorqueNM: end.TorqueNM, AngleDeg: end.AngleDeg, ClampLength: d.GetClampLengthMm(),
	})
	if !ok {
		return nil
	}
	return &pb.PreloadEstimate{
		LowN: e.Low, MeanN: e.Mean, HighN: e.High, ScatterPercent: 100 * e.Scatter, Method: e.Method.String(), Basis: e.Basis,
	}
}
