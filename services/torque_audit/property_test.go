package torqueaudit

import (
	"slices"
	"testing"
	"time"

	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	jobv1 "ramprow/proto/ramprow/job/v1"
	pb "ramprow/proto/ramprow/torque_audit/v1"
)

// TestOnlyAProvedSheetIsComplete throws plans, designs, steps and commands at a
// site: late, twice, never and in any order. Whenever the sheet says that it is
// complete, a search over the bare events must find the proof.
func TestOnlyAProvedSheetIsComplete(t *testing.T) {
	rapid.Check(t, func(r *rapid.T) {
		s := newSite(t)
		s.register(torqueAngleWrench())
		s.register(&pb.Wrench{Name: "wrenches/gun", Title: "Gun", Kind: pb.WrenchKind_WRENCH_KIND_GUN})
		var heard []proto.Message
		for range rapid.IntRange(5, 60).Draw(r, "steps") {
			s.now = s.now.Add(time.Minute)
			if rapid.IntRange(0, 2).Draw(r, "kind") == 0 {
				m := drawNews(r)
				if len(s.hear(m)) > 0 && isPlan(m) {
					// What was said of steps and designs belonged to the plan before.
					heard = slices.DeleteFunc(heard, func(m proto.Message) bool { return !isPlan(m) })
				}
				heard = append(heard, m)
			} else {
				drawCommand(r, s)
			}
			sh := s.state.sheets[job1]
			if sh == nil || !sh.complete {
				continue
			}
			if why := unproved(s.log); why != "" {
				r.Fatalf("complete, but %s", why)
			}
			// What was heard before may come again and changes nothing.
			again := rapid.SampledFrom(heard).Draw(r, "again")
			if events := s.hear(again); len(events) != 0 || !s.state.sheets[job1].complete {
				r.Fatalf("%T came again and brought about %v", again, events)
			}
		}
	})
}

func isPlan(m proto.Message) bool {
	switch m.(type) {
	case *jobv1.DiagnosisConfirmed, *jobv1.PlanRevised:
		return true
	}
	return false
}

// drawNews is anything that the job's log may hold, in no sensible order.
func drawNews(r *rapid.T) proto.Message {
	joints := [][]*jobv1.JointDue{{cover()}, {head()}, {cover(), head()}, {head(), cover()}, {wheel()}, {cover(), wheel()}, nil}
	switch rapid.IntRange(0, 9).Draw(r, "news") {
	case 0:
		return confirmed(rapid.Uint32Range(1, 3).Draw(r, "revision"), rapid.SampledFrom(joints).Draw(r, "joints")...)
	case 1:
		return revised(rapid.Uint32Range(1, 5).Draw(r, "revision"), rapid.SampledFrom(joints).Draw(r, "joints")...)
	case 2, 3:
		return &jobv1.DesignFound{Job: job1, Feature: "block", Value: rapid.SampledFrom([]string{"iron", "alloy", "wood"}).Draw(r, "value")}
	case 4:
		return &jobv1.StepDone{Job: job1, Step: rapid.SampledFrom([]string{"close.cover", "close.head", "close.wheel"}).Draw(r, "step")}
	case 5:
		return &jobv1.WorkFinished{Job: job1}
	default:
		return stepStarted(rapid.SampledFrom([]string{"close.cover", "close.head", "close.wheel"}).Draw(r, "step"))
	}
}

// drawCommand does something a person may do; refusals are part of it.
func drawCommand(r *rapid.T, s *site) {
	joint := rapid.SampledFrom([]string{"cover", "head", "wheel"}).Draw(r, "joint")
	sh := s.state.sheets[job1]
	switch rapid.IntRange(0, 15).Draw(r, "command") {
	case 0:
		_, _ = do(s, "ada", decideSignSheet, &pb.SignSheetRequest{Job: job1})
	case 1:
		_, _ = do(s, "ben", decideSignDeparture, &pb.SignDepartureRequest{
			Job: job1, Joint: joint, Reason: "no room", FirstPerson: rapid.SampledFrom([]string{"ada", "ben"}).Draw(r, "first"),
		})
	case 2:
		if rapid.Bool().Draw(r, "really") {
			_, _ = do(s, "ada", decideReopenSheet, &pb.ReopenSheetRequest{Job: job1, Joints: []string{joint}, Reason: "leaks"})
		}
	case 3:
		_, _ = do(s, "ada", decideCorrectReading, &pb.CorrectReadingRequest{Job: job1, Number: rapid.Uint32Range(1, 8).Draw(r, "number"), Reason: "mistake"})
	case 4:
		_ = refused(s, &pb.PostReadingRequest{
			Job: job1, Joint: joint, Fastener: rapid.Uint32Range(1, 3).Draw(r, "fastener"), TorqueNm: rapid.Float64Range(0, 60).Draw(r, "torque"),
			AngleDeg: rapid.Float64Range(0, 120).Draw(r, "angle"), Wrench: rapid.SampledFrom([]string{bigWrench, "wrenches/gun"}).Draw(r, "wrench"),
		})
	case 5:
		measured := rapid.SampledFrom([]float64{100, 100, 90}).Draw(r, "measured")
		_, _ = do(s, "ada", decideRecordCheck, &pb.RecordWrenchCheckRequest{Wrench: bigWrench, TargetNm: 100, MeasuredNm: measured})
	case 6:
		_, _ = do(s, "ada", decideRecheckReading, &pb.PostRecheckReadingRequest{
			Job: job1, Joint: joint, Fastener: rapid.Uint32Range(1, 3).Draw(r, "tried"), Wrench: bigWrench, TorqueNm: 120,
			Moved: rapid.IntRange(0, 5).Draw(r, "moved") == 0, OdometerKm: rapid.SampledFrom([]float64{0, 20, 90_100}).Draw(r, "km"),
		})
	case 7:
		_, _ = do(s, "ada", decideWaiveRecheck, &pb.WaiveRecheckRequest{Job: job1, Joint: joint, Reason: "done elsewhere"})
	case 8:
		_, _ = do(s, "ada", decideRenewFasteners, &pb.RenewFastenersRequest{Job: job1, Joint: joint})
	case 9:
		s.now = s.now.Add(time.Duration(rapid.IntRange(0, 40).Draw(r, "days")) * 24 * time.Hour)
		s.fire()
	default:
		if sh == nil {
			return
		}
		if req := s.ideal(joint); req != nil {
			_ = refused(s, req)
		} else if sh.allSettled() {
			_, _ = do(s, "ada", decideSignSheet, &pb.SignSheetRequest{Job: job1})
		}
	}
}
