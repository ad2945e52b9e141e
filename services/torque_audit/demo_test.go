package torqueaudit

import (
	"testing"
	"time"

	"ramprow/internal/catalogue"
	"ramprow/internal/catalogue/demo"
	"ramprow/internal/engine/fastening/bolt"
	cataloguev1 "ramprow/proto/ramprow/catalogue/v1"
	jobv1 "ramprow/proto/ramprow/job/v1"
	pb "ramprow/proto/ramprow/torque_audit/v1"
)

// TestDemoJointsCanBeProved walks every joint of the demo catalogues in every
// design with a wrench of 4 %: each is proved by what the audit asks for.
func TestDemoJointsCanBeProved(t *testing.T) {
	eachDesign(t, func(t *testing.T, j *cataloguev1.Joint, stages []*cataloguev1.Stage) {
		due := &jobv1.JointDue{
			Joint: j.GetId(), Title: j.GetTitle(), Fasteners: j.GetFasteners(), Order: catalogue.TighteningOrder(j),
			SoftGasket: j.GetSoftGasket(), UsedOnce: j.GetUsedOnce(), Thread: j.GetThread(), ForStep: "close",
			Designs: []*jobv1.JointStages{{Stages: stages}},
		}
		s := newSite(t)
		w := torqueAngleWrench()
		w.MinNm, w.MaxNm, w.Tool = 2, 300, "wrench-large"
		s.register(w)
		s.hear(confirmed(1, due))
		s.hear(stepStarted("close"))
		for req := s.ideal(j.GetId()); req != nil; req = s.ideal(j.GetId()) {
			// Long enough for whatever has to set in between.
			s.now = s.now.Add(time.Hour)
			req.TorqueNm = max(req.GetTorqueNm(), 1.1*floorOf(stages, s.state.sheets[job1].nextTurn(j.GetId()).GetStage()))
			if r := posted(s, req).GetReading(); !r.GetCounts() {
				t.Fatalf("what was asked for does not count: %s", r.GetReason())
			}
		}
		s.now = s.now.Add(time.Hour)
		accepted(s, "ada", decideSignSheet, &pb.SignSheetRequest{Job: job1})
		s.wantState(pb.SheetState_SHEET_STATE_COMPLETE)
	})
}

// TestDemoTorquesAreBearable: no demo torque lies far outside what its thread
// and class can bear.
func TestDemoTorquesAreBearable(t *testing.T) {
	eachDesign(t, func(t *testing.T, j *cataloguev1.Joint, stages []*cataloguev1.Stage) {
		angle := 0.0
		for _, s := range stages {
			angle += s.GetAngleDeg()
		}
		for _, s := range stages {
			warnings, err := bolt.Check(bolt.Want{
				Thread: j.GetThread(), Class: j.GetPropertyClass(), TorqueNM: s.GetTorqueNm(), Oiled: j.GetOiled(),
				AngleDeg: angle, ClampLength: j.GetClampLengthMm(),
			})
			if err != nil || len(warnings) > 0 {
				t.Errorf("%v %v", warnings, err)
			}
		}
	})
}

// eachDesign runs a test for every stage set of every joint of the demo.
func eachDesign(t *testing.T, test func(*testing.T, *cataloguev1.Joint, []*cataloguev1.Stage)) {
	t.Helper()
	all, err := demo.Catalogues()
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range all {
		for _, j := range c.Message().GetJoints() {
			for _, set := range j.GetStageSets() {
				t.Run(c.Message().GetId()+"/"+j.GetId(), func(t *testing.T) { test(t, j, set.GetStages()) })
			}
		}
	}
}

func floorOf(stages []*cataloguev1.Stage, number uint32) float64 {
	return stages[number-1].GetTorqueFloorNm()
}
