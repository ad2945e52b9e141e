package torqueaudit

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"

	jobv1 "ramprow/proto/ramprow/job/v1"
	pb "ramprow/proto/ramprow/torque_audit/v1"
)

// readingsOf tightens covers of two bolts with the torques, two a job.
func readingsOf(s *site, torques ...float64) {
	for i, nm := range torques {
		job := fmt.Sprintf("jobs/%d", i/2+1)
		if i%2 == 0 {
			c := confirmed(1, cover())
			c.Job = job
			s.hear(c)
			s.hear(&jobv1.StepStarted{Job: job, Step: "close.cover"})
		}
		s.now = s.now.Add(time.Minute)
		posted(s, &pb.PostReadingRequest{Job: job, Joint: "cover", Fastener: uint32(i%2 + 1), Wrench: bigWrench, TorqueNm: nm})
	}
}

func (s *site) charted(by pb.StatisticsBy, of string, group int) *pb.TighteningStatistics {
	return statistics(s.state.chart(&pb.GetTighteningStatisticsRequest{By: by, Of: of}), group)
}

// TestStatistics: the window is 9 to 11 N·m, so 10.2 lies at 0.2 in it. The
// single values 0.2, 0, 0.2, 0 … have moving ranges of 0.2: three sigma are
// 0.2 · 3/1.128 (constants of the handbook, held in the engine's own test).
func TestStatistics(t *testing.T) {
	s := newSite(t)
	s.register(torqueAngleWrench())
	readingsOf(s, 10.2, 10, 10.2, 10, 10.2, 10, 10.2, 10)
	tool := s.charted(pb.StatisticsBy_STATISTICS_BY_TOOL, bigWrench, 0)
	if tool.GetReadings() != 8 || tool.GetNotCounted() != 0 || math.Abs(tool.GetMean().GetCentre()-0.1) > 1e-9 ||
		math.Abs(tool.GetMean().GetHigh()-0.1-0.2*3/1.128) > 1e-3 || len(tool.GetSignals()) != 0 {
		t.Errorf("by tool %v", tool)
	}
	// s² = 8·0.1²/7, Cp = 2/(6s), Cpk = (1-0.1)/(3s).
	sigma := math.Sqrt(8 * 0.01 / 7)
	if math.Abs(tool.GetSpread().GetValue()-2/(6*sigma)) > 1e-9 || math.Abs(tool.GetWorst().GetValue()-0.9/(3*sigma)) > 1e-9 ||
		tool.GetWorst().GetLow() >= tool.GetWorst().GetValue() || !strings.Contains(tool.GetRemarks()[0], "few") {
		t.Errorf("capability %v", tool)
	}
	person, joint := s.charted(pb.StatisticsBy_STATISTICS_BY_PERSON, "ada", 2), s.charted(pb.StatisticsBy_STATISTICS_BY_JOINT, "cover", 2)
	if person.GetGroupSize() != 2 || len(person.GetPoints()) != 4 || math.Abs(person.GetPoints()[3]-0.1) > 1e-9 || !slices.Equal(person.GetPoints(), joint.GetPoints()) {
		t.Errorf("in pairs %v", person)
	}
	if got := s.charted(pb.StatisticsBy_STATISTICS_BY_PERSON, "ben", 0); got.GetReadings() != 0 || len(got.GetRemarks()) == 0 {
		t.Errorf("of nobody %v", got)
	}
	late := s.state.chart(&pb.GetTighteningStatisticsRequest{By: pb.StatisticsBy_STATISTICS_BY_JOINT, Of: "cover", Since: timestamppb.New(noon.Add(7 * time.Minute))})
	if len(late) != 2 {
		t.Errorf("since the seventh minute %v", late)
	}
}

// TestAShiftIsSeen: eight on one side, the last rule of the handbook, and what
// did not count is charted too.
func TestAShiftIsSeen(t *testing.T) {
	s := newSite(t)
	s.register(torqueAngleWrench())
	torques := []float64{10, 9.98, 10.02, 10, 9.98, 10.02, 10, 10}
	for range 10 {
		torques = append(torques, 10.08, 10.09)
	}
	readingsOf(s, append(torques, 12)...)
	got := s.charted(pb.StatisticsBy_STATISTICS_BY_JOINT, "cover", 0)
	if got.GetReadings() != 29 || got.GetNotCounted() != 1 || len(got.GetSignals()) == 0 {
		t.Errorf("%v", got)
	}
	if !slices.ContainsFunc(got.GetRemarks(), func(r string) bool { return strings.Contains(r, "not under control") }) {
		t.Errorf("remarks %v", got.GetRemarks())
	}
}

// TestDriftHasADate: a wrench that gains one percent a year leaves its four
// percent four years after it had none.
func TestDriftHasADate(t *testing.T) {
	s := newSite(t)
	s.register(torqueAngleWrench())
	for year := range 3 {
		s.now = noon.Add(time.Duration(float64(year) * 365.25 * 24 * float64(time.Hour)))
		accepted(s, "ada", decideRecordCheck, &pb.RecordWrenchCheckRequest{Wrench: bigWrench, TargetNm: 100, MeasuredNm: 100 / (1 + float64(year)/100)})
	}
	out := &pb.TighteningStatistics{}
	w := s.state.wrenches[bigWrench]
	addDrift(out, w.deviations(), w.toolOf().Deviation)
	want := noon.Add(4 * 8766 * time.Hour)
	if d := out.GetDrift(); math.Abs(d.GetPercentPerYear()-1) > 1e-6 || d.GetLeavesAt().AsTime().Sub(want).Abs() > time.Hour || d.GetChecks() != 3 {
		t.Errorf("drift %v, want %s", d, want)
	}
	accepted(s, "ada", decideRecordCheck, &pb.RecordWrenchCheckRequest{Wrench: bigWrench, TargetNm: 100, MeasuredNm: 90})
	if left := w.deviations(); len(left) != 0 {
		t.Errorf("after a failed check %v", left)
	}
}
