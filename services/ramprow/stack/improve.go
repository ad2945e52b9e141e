package stack

import (
	"ramprow/internal/platform/metrics"
	"ramprow/internal/platform/sitelog"
	"ramprow/services/scheduling"
)

// improver looks for better plans beside the writers of scheduling.
func improver(b *Backend, writers *sitelog.Runner[*scheduling.State]) *beside {
	i := scheduling.NewImprover(writers, scheduling.ImproverConfig{
		For: b.Improve, Now: b.Now, Logger: b.Telemetry.Logger(), TracerProvider: b.Telemetry.TracerProvider(),
	})
	c := i.Counts()
	labels := map[string]string{"service": scheduling.Service}
	out := &beside{name: "improvement", measures: []metrics.Measure{
		{Name: "ramprow_improvement_runs_total", Help: "Searches for better plans beside the writer.", Labels: labels, Counts: true, Read: plain(c.Runs.Load)},
		{Name: "ramprow_improvements_adopted_total", Help: "Better plans that were committed.", Labels: labels, Counts: true, Read: plain(c.Adopted.Load)},
		{Name: "ramprow_improvements_refused_total", Help: "Better plans that no longer fitted when they were handed in.", Labels: labels, Counts: true, Read: plain(c.Refused.Load)},
		{Name: "ramprow_improvements_saved_minutes_total", Help: "Weighted minutes that the committed ones save.", Labels: labels, Counts: true, Read: plain(c.Saved.Load)},
	}}
	if b.Improve > 0 {
		out.run = i.Run
	}
	return out
}
