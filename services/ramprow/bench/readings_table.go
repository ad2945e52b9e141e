package bench

import (
	"fmt"
	"io"
	"strings"
)

// WriteTable tells people how fast tightening is taken down.
func (r *ReadingsReport) WriteTable(w io.Writer) error {
	var b strings.Builder
	fmt.Fprintf(&b, "Medians of %d rounds of %g s each, %d processors for everything; latencies in ms.\n\n", r.Rounds, r.RoundSeconds, r.Processors)
	table(&b, func(row func(...any)) {
		row("", "at once", "per second", "p50", "p95", "p99", "CPU us")
		figures := func(what string, atOnce int, f Figures) {
			row(what, atOnce, fmt.Sprintf("%.0f", f.PerSecond), ms(f.P50), ms(f.P95), ms(f.P99), fmt.Sprintf("%.0f", f.CPU))
		}
		figures("readings, judged and synced", r.Callers, r.Readings)
		figures(fmt.Sprintf("the broker alone, %d bytes", r.PayloadBytes), r.Callers, r.Broker)
		figures(fmt.Sprintf("curves of %d samples, analysed and kept", r.Samples), r.Tools, r.Curves)
		figures("such curves, only received", r.Tools, r.Received)
	})
	fmt.Fprintf(&b, "\nReadings are %.2f times the broker's messages. CPU is this process's for each, callers and read models included.\n", r.TimesBroker)
	fmt.Fprintf(&b, "Curves are %.0f samples a second, %.2f of those only received: as many as %.0f tools at %d samples a second.\n",
		r.CurveSamples, r.OfReceived, r.ToolsAtOnce, samplesASecond)
	fmt.Fprintf(&b, "Checked in the log: %d readings answered, %d written, in %d commits; %d curves answered, %d written.\n",
		r.ReadingsInLog.Answered, r.ReadingsInLog.InLog, r.ReadingsInLog.Commits, r.CurvesInLog.Answered, r.CurvesInLog.InLog)
	_, err := io.WriteString(w, b.String())
	return err
}
