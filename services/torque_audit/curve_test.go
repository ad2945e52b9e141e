package torqueaudit

import (
	"fmt"
	"math"
	"sync"
	"testing"

	"google.golang.org/grpc"

	"ramprow/internal/engine/fastening/curve"
	"ramprow/internal/platform/fault"
	jobv1 "ramprow/proto/ramprow/job/v1"
	pb "ramprow/proto/ramprow/torque_audit/v1"
)

// straightThenYield is a closed curve with a known answer: nothing up to 30
// degrees, then 1 N·m a degree up to 90, then half as steep, a tenth of it.
func straightThenYield(samples int) []curve.Sample {
	out := make([]curve.Sample, samples)
	for i := range out {
		angle := 120 * float64(i) / float64(samples-1)
		torque := math.Max(0, math.Min(angle, 90)-30) + 0.1*math.Max(0, angle-90)
		out[i] = curve.Sample{Angle: angle, Torque: torque}
	}
	return out
}

// curveHead is the first message of a curve of the cover.
func curveHead(id string, fastener uint32) *pb.RecordCurveRequest {
	return &pb.RecordCurveRequest{RequestId: id, Job: job1, Joint: "cover", Fastener: fastener, Stage: 1, Wrench: bigWrench}
}

// sendCurve sends samples in pieces behind a first message.
func (b *bench) sendCurve(head *pb.RecordCurveRequest, samples []curve.Sample, piece int) (*pb.RecordCurveResponse, error) {
	stream, err := b.client.RecordCurve(b.ctx)
	if err != nil {
		return nil, err
	}
	for {
		n := min(piece, len(samples))
		for _, p := range samples[:n] {
			head.AngleDeg, head.TorqueNm = append(head.AngleDeg, p.Angle), append(head.TorqueNm, p.Torque)
		}
		if err := stream.Send(head); err != nil {
			break // the answer says why
		}
		if samples = samples[n:]; len(samples) == 0 {
			break
		}
		head = &pb.RecordCurveRequest{}
	}
	return stream.CloseAndRecv()
}

func newCurveBench(t testing.TB) *bench {
	b := newBench(t)
	_, err := b.client.SetWrench(b.ctx, &pb.SetWrenchRequest{RequestId: "wrench-0001", Wrench: torqueAngleWrench()})
	b.must(err)
	b.say(confirmed(1, cover()))
	b.say(&jobv1.StepStarted{Job: job1, Step: "close.cover"})
	b.await("the joint is open", func(s *pb.Sheet) bool { return s.GetJoints()[0].GetState() == pb.JointState_JOINT_STATE_OPEN })
	return b
}

// TestCurvesOfSeveralToolsAtOnce streams curves side by side: each is analysed
// by itself, kept once however often it is sent, and shown on the sheet.
func TestCurvesOfSeveralToolsAtOnce(t *testing.T) {
	b := newCurveBench(t)
	samples := straightThenYield(4000)
	var tools sync.WaitGroup
	for tool := range 6 {
		tools.Go(func() {
			r, err := b.sendCurve(curveHead(fmt.Sprintf("curve-%04d", tool), uint32(tool%2+1)), samples, 500)
			if err != nil {
				t.Errorf("tool %d: %v", tool, err)
				return
			}
			c := r.GetCurve()
			if math.Abs(c.GetSnug().GetAngleDeg()-30) > 0.5 || math.Abs(c.GetGradientNmPerDeg()-1) > 0.01 ||
				math.Abs(c.GetYield().GetAngleDeg()-90) > 2 || c.GetSamples() != 4000 || c.GetDigest() != curve.Digest(samples) {
				t.Errorf("tool %d: %v", tool, c)
			}
		})
	}
	tools.Wait()
	again, err := b.sendCurve(curveHead("curve-0000", 1), samples, 4096)
	b.must(err)
	if !again.GetReceipt().GetRepeatedAnswer() {
		t.Errorf("sent again: %v", again)
	}
	sheet := b.await("the curves are there", func(s *pb.Sheet) bool { return len(s.GetJoints()[0].GetCurves()) == 6 })
	for i, c := range sheet.GetJoints()[0].GetCurves() {
		if c.GetNumber() != uint32(i+1) || c.GetBy() == "" || len(c.GetRemarks()) == 0 {
			t.Errorf("kept %v", c)
		}
	}
}

func TestCurvesRefused(t *testing.T) {
	b := newCurveBench(t)
	good := straightThenYield(100)
	change := func(do func(*pb.RecordCurveRequest)) *pb.RecordCurveRequest {
		head := curveHead("curve-0001", 1)
		do(head)
		return head
	}
	back := append(append([]curve.Sample{}, good...), curve.Sample{Angle: 1, Torque: 1})
	for _, c := range []struct {
		name    string
		head    *pb.RecordCurveRequest
		samples []curve.Sample
		reason  string
	}{
		{"no id", change(func(h *pb.RecordCurveRequest) { h.RequestId = "" }), good, "CURVE_MALFORMED"},
		{"no wrench", change(func(h *pb.RecordCurveRequest) { h.Wrench = "" }), good, "CURVE_MALFORMED"},
		{"no such job", change(func(h *pb.RecordCurveRequest) { h.Job = "jobs/99" }), good, "SHEET_NOT_FOUND"},
		{"no such joint", change(func(h *pb.RecordCurveRequest) { h.Joint = "none" }), good, "JOINT_NOT_FOUND"},
		{"no such bolt", change(func(h *pb.RecordCurveRequest) { h.Fastener = 3 }), good, "CURVE_MALFORMED"},
		{"no such wrench", change(func(h *pb.RecordCurveRequest) { h.Wrench = "wrenches/none" }), good, "WRENCH_NOT_FOUND"},
		{"too few", change(func(*pb.RecordCurveRequest) {}), good[:5], "CURVE_UNUSABLE"},
		{"back", change(func(*pb.RecordCurveRequest) {}), back, "CURVE_UNUSABLE"},
		{"no number", change(func(*pb.RecordCurveRequest) {}), append(append([]curve.Sample{}, good...), curve.Sample{Angle: 121, Torque: math.NaN()}), "CURVE_UNUSABLE"},
		{"more torques than angles", change(func(h *pb.RecordCurveRequest) { h.TorqueNm = []float64{1} }), good, "CURVE_MALFORMED"},
		{"too long", change(func(*pb.RecordCurveRequest) {}), straightThenYield(maxCurveSamples + 1), "CURVE_TOO_LONG"},
	} {
		_, err := b.sendCurve(c.head, c.samples, 4096)
		if got := fault.ReasonOf(err); got != c.reason {
			t.Errorf("%s: got %v (%s), want %s", c.name, err, got, c.reason)
		}
	}
	stream, err := b.client.RecordCurve(b.ctx)
	b.must(err)
	_, err = stream.CloseAndRecv()
	wantReason(t, err, "CURVE_MALFORMED")
	sheet, err := b.client.GetSheet(b.ctx, &pb.GetSheetRequest{Job: job1})
	b.must(err)
	if n := len(sheet.GetSheet().GetJoints()[0].GetCurves()); n != 0 {
		t.Errorf("%d curves are kept", n)
	}
}

// TestCurvesAreBounded: one tool more than there is room for is turned away at
// once, and has its turn when another is done.
func TestCurvesAreBounded(t *testing.T) {
	b := newCurveBench(t)
	answers := make(chan error)
	var streams []grpc.ClientStreamingClient[pb.RecordCurveRequest, pb.RecordCurveResponse]
	for i := range maxCurves + 1 {
		stream, err := b.client.RecordCurve(b.ctx)
		b.must(err)
		_ = stream.Send(curveHead(fmt.Sprintf("curve-%04d", i), 1)) // one of them may be turned away already
		streams = append(streams, stream)
		go func() { answers <- stream.RecvMsg(&pb.RecordCurveResponse{}) }()
	}
	wantReason(t, <-answers, "TOO_MANY_CURVES")
	for _, stream := range streams {
		_ = stream.CloseSend() // without samples; the one that was turned away is closed
	}
	for range maxCurves {
		wantReason(t, <-answers, "CURVE_UNUSABLE")
	}
	_, err := b.sendCurve(curveHead("curve-last", 1), straightThenYield(100), 100)
	b.must(err)
}

// BenchmarkCurveStreams sends curves of several tools at once through gRPC, in
// pieces of a tenth of a second at 10,000 samples a second.
func BenchmarkCurveStreams(b *testing.B) {
	const tools = 8
	rig := newCurveBench(b)
	samples := straightThenYield(20_000)
	n := 0
	for b.Loop() {
		n++
		var all sync.WaitGroup
		for tool := range tools {
			all.Go(func() {
				if _, err := rig.sendCurve(curveHead(fmt.Sprintf("curve-%d-%d", n, tool), 1), samples, 1000); err != nil {
					b.Error(err)
				}
			})
		}
		all.Wait()
	}
	b.ReportMetric(float64(tools*len(samples))*float64(b.N)/b.Elapsed().Seconds(), "samples/s")
}
