package torqueaudit

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"time"

	"ramprow/internal/engine/fastening"
	"ramprow/internal/engine/fastening/chart"
	"ramprow/internal/platform/command"
	"ramprow/internal/platform/fault"
	pb "ramprow/proto/ramprow/torque_audit/v1"
)

const (
	// chartedReadings bounds what one question looks at: the newest.
	chartedReadings = 5000
	shownPoints     = 500
	confidence      = 0.95
	// fewReadings is below what a capability is worth telling: common practice, no source.
	fewReadings = 30
)

// charted is where a reading lies in its own window, from -1 to 1.
type charted struct {
	at     time.Time
	job    uint64
	number uint32
	value  float64
	counts bool
}

// GetTighteningStatistics charts readings of a tool, a person or a joint.
func (s *Server) GetTighteningStatistics(ctx context.Context, req *pb.GetTighteningStatisticsRequest) (*pb.GetTighteningStatisticsResponse, error) {
	who, err := command.Caller(ctx)
	if err != nil {
		return nil, err
	}
	var readings []charted
	var tool fastening.Tool
	var checks []chart.WrenchCheck
	if _, err := s.runner.View(ctx, who.Site, func(st *State) error {
		readings = st.chart(req)
		if w := st.wrenches[req.GetOf()]; w != nil && req.GetBy() == pb.StatisticsBy_STATISTICS_BY_TOOL {
			tool, checks = w.toolOf(), w.deviations()
		}
		return nil
	}); err != nil {
		return nil, err
	}
	if len(readings) == 0 && len(checks) == 0 {
		return nil, fault.New(fault.NotFound, "NOTHING_TO_CHART", "there is no reading of %s; see `ramprow tighten sheets`", req.GetOf())
	}
	stats := statistics(readings, int(req.GetGroupSize()))
	if tool.Name != "" {
		addDrift(stats, checks, tool.Deviation)
	}
	return &pb.GetTighteningStatisticsResponse{Statistics: stats}, nil
}

// chart picks the readings asked about, oldest first.
func (s *State) chart(req *pb.GetTighteningStatisticsRequest) []charted {
	found := s.history.chart(func(job string) bool { return s.sheets[job] == nil }, req)
	for _, sh := range s.sheets {
		for _, j := range sh.joints {
			for _, r := range j.readings {
				value, ok := inWindow(r)
				if !ok || r.GetCorrectedBy() != 0 || !about(req, r) || before(r.GetAt().AsTime(), req.GetSince()) {
					continue
				}
				found = append(found, charted{at: r.GetAt().AsTime(), job: sh.number(), number: r.GetNumber(), value: value, counts: r.GetCounts()})
			}
		}
	}
	slices.SortFunc(found, func(a, b charted) int {
		return cmp.Or(a.at.Compare(b.at), cmp.Compare(a.job, b.job), cmp.Compare(a.number, b.number))
	})
	return found[max(0, len(found)-chartedReadings):]
}

func about(req *pb.GetTighteningStatisticsRequest, r *pb.Reading) bool {
	switch req.GetBy() {
	case pb.StatisticsBy_STATISTICS_BY_TOOL:
		return r.GetWrench() == req.GetOf()
	case pb.StatisticsBy_STATISTICS_BY_PERSON:
		return r.GetBy() == req.GetOf()
	case pb.StatisticsBy_STATISTICS_BY_JOINT:
		return r.GetJoint() == req.GetOf()
	case pb.StatisticsBy_STATISTICS_BY_UNSPECIFIED:
	}
	return false
}

// inWindow places a reading in its window; false for one that has none, or
// whose tool could not measure it.
func inWindow(r *pb.Reading) (float64, bool) {
	b := r.GetBasis()
	value, low, high := r.GetTorqueNm(), b.GetTorqueLowNm(), b.GetTorqueHighNm()
	if b.GetAngleHighDeg() > 0 {
		value, low, high = r.GetAngleDeg(), b.GetAngleLowDeg(), b.GetAngleHighDeg()
	}
	if high <= low || value == 0 || r.GetRisk() >= 1 && r.GetVerdict() != pb.Verdict_VERDICT_DOES_NOT_CONFORM {
		return 0, false
	}
	return (value - (low+high)/2) / ((high - low) / 2), true
}

// statistics charts values that lie between -1 and 1 when they are within their windows.
func statistics(readings []charted, group int) *pb.TighteningStatistics {
	out := &pb.TighteningStatistics{Readings: small(len(readings)), GroupSize: small(max(1, group))}
	values := make([]float64, len(readings))
	for i, r := range readings {
		values[i] = r.value
		if !r.counts {
			out.NotCounted++
		}
	}
	points, control, err := charting(values, group)
	if err != nil {
		out.Remarks = append(out.Remarks, "no chart: "+err.Error())
	} else {
		out.Mean, out.Range = limits(control.Mean), limits(control.Range)
		skipped := max(0, len(points)-shownPoints)
		if control.Sigma > 0 {
			for i, rule := range chart.Signals(points, control.Mean.Centre, control.Sigma/math.Sqrt(float64(max(1, group)))) {
				if rule > 0 && i >= skipped {
					out.Signals = append(out.Signals, small(i-skipped))
				}
			}
		}
		points = points[skipped:]
	}
	out.Points = points
	addCapability(out, values)
	return out
}

// charting makes single values, or means of groups one after another.
func charting(values []float64, group int) ([]float64, chart.Control, error) {
	if group <= 1 {
		control, err := chart.Singles(values)
		return values, control, err
	}
	var groups [][]float64
	var means []float64
	for g := range slices.Chunk(values, group) {
		if len(g) < group {
			break // the last one is not full yet
		}
		mean := 0.0
		for _, v := range g {
			mean += v / float64(group)
		}
		groups, means = append(groups, g), append(means, mean)
	}
	control, err := chart.Groups(groups)
	return means, control, err
}

func limits(l chart.Limits) *pb.ControlLimits {
	return &pb.ControlLimits{Low: l.Low, Centre: l.Centre, High: l.High}
}

func addCapability(out *pb.TighteningStatistics, values []float64) {
	if len(values) < 2 {
		return
	}
	mean, sigma := chart.MeanAndSigma(values)
	c, err := chart.CapabilityOf(mean, sigma, len(values), chart.Tolerance{Low: -1, High: 1}, confidence)
	if err != nil {
		out.Remarks = append(out.Remarks, "no capability: "+err.Error()+"; a click wrench reports what it was set to")
		return
	}
	out.Spread, out.Worst = index(c.Spread), index(c.Worst)
	if len(values) < fewReadings {
		out.Remarks = append(out.Remarks, fmt.Sprintf("%d readings are few: look at the intervals, not at the indices", len(values)))
	}
	if len(out.GetSignals()) > 0 {
		out.Remarks = append(out.Remarks, "it is not under control, so the capability says little")
	}
}

func index(i chart.Index) *pb.CapabilityIndex {
	return &pb.CapabilityIndex{Value: i.Value, Low: i.Low, High: i.High}
}

// deviations gives what the tester found at each check with values, since the
// last time at which the wrench may have been set anew: a check that failed.
func (w *wrench) deviations() []chart.WrenchCheck {
	var found []chart.WrenchCheck
	for _, c := range w.checks {
		if c.GetTargetNm() > 0 && c.GetMeasuredNm() > 0 {
			_, deviation := fastening.CheckPasses(c.GetTargetNm(), c.GetMeasuredNm(), w.tool.GetDeviationPercent()/100)
			found = append(found, chart.WrenchCheck{At: c.GetAt().AsTime(), Deviation: deviation})
		}
		if !c.GetPassed() {
			found = nil
		}
	}
	return found
}

func addDrift(out *pb.TighteningStatistics, checks []chart.WrenchCheck, permissible float64) {
	d, err := chart.DriftOf(checks, permissible)
	if err != nil {
		out.Remarks = append(out.Remarks, "no drift: "+err.Error()+", since a check that failed")
		return
	}
	out.Drift = &pb.WrenchDrift{PercentPerYear: 100 * d.PerYear, LeavesAt: stamp(d.Leaves), Checks: small(len(checks))}
	if !math.IsNaN(d.Scatter) {
		out.Drift.ScatterPercent = 100 * d.Scatter
	}
}
