package torqueaudit

import (
	"fmt"
	"os"
	"runtime"
	"testing"
	"time"

	pb "ramprow/proto/ramprow/torque_audit/v1"
)

// The curve of memory over finished jobs, measured by hand:
//
//	RAMPROW_CURVE=1 go test ./services/torque_audit -run TestMemoryCurve -v -timeout 20m
//
// Every job has three joints of 2, 2 and 10 bolts, tightened and signed, 20 a
// day; the wrench is checked every Monday; 300 stay open.
func TestMemoryCurve(t *testing.T) {
	if os.Getenv("RAMPROW_CURVE") == "" {
		t.Skip("set RAMPROW_CURVE=1 to measure")
	}
	s := newSite(t)
	s.register(torqueAngleWrench())
	number := 0
	opened := func() string {
		number++
		pan := plainJoint("pan", 20)
		pan.Fasteners, pan.Order = 10, []uint32{5, 6, 4, 7, 3, 8, 2, 9, 1, 10}
		c := confirmed(1, plainJoint("cover", 10), pan, plainJoint("rail", 30))
		c.Job = fmt.Sprintf("jobs/%d", number)
		s.hear(c)
		return c.GetJob()
	}
	finished := func() {
		job := opened()
		for next := s.state.sheets[job].nextTurn(""); next != nil; next = s.state.sheets[job].nextTurn("") {
			accepted(s, "ada", decidePostReading, &pb.PostReadingRequest{
				Job: job, Joint: next.GetJoint(), Fastener: next.GetFastener(), Wrench: bigWrench, TorqueNm: next.GetSpec().GetTorqueNm(),
			})
		}
		accepted(s, "ada", decideSignSheet, &pb.SignSheetRequest{Job: job})
		s.log, s.events = nil, s.events[:0]
	}
	for range 300 {
		opened()
	}
	commits := uint64(len(s.events))
	s.numbered = func() uint64 { commits++; return commits }
	done := 0
	for _, goal := range []int{0, 1_000, 10_000, 100_000} {
		for ; done < goal; done++ {
			if finished(); done%20 != 19 {
				continue
			}
			s.wait(24 * time.Hour)
			if s.now.Weekday() == time.Monday {
				accepted(s, "ada", decideRecordCheck, &pb.RecordWrenchCheckRequest{
					Wrench: bigWrench, TargetNm: 100, MeasuredNm: 100, Calibration: true, Certificate: "C",
				})
			}
		}
		runtime.GC()
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		filed, _ := s.state.shelves.sheets.Len()
		t.Logf("%6d finished: %d sheets in the state, %d archived, heap %.1f MB", done, len(s.state.sheets), filed, float64(m.HeapAlloc)/(1<<20))
	}
	if len(s.state.sheets) > 600 {
		t.Errorf("%d sheets stay", len(s.state.sheets))
	}
}
