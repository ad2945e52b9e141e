package bench

import (
	"fmt"
	"io"
	"strings"
)

// WriteTable tells people what open pages cost.
func (r *PagesReport) WriteTable(w io.Writer) error {
	var b strings.Builder
	fmt.Fprintf(&b, "%d live pages for %.0f s, the day %g times as fast as real time, %d processors for everything.\n\n", r.Pages, r.Seconds, r.Speed, r.Processors)
	table(&b, func(row func(...any)) {
		row("the workshop's process", "processors", "MB", "MB at most")
		for _, l := range []struct {
			what string
			load Load
		}{{"with no page open", r.Alone}, {fmt.Sprintf("with %d open", r.Pages), r.Open}} {
			row(l.what, fmt.Sprintf("%.2f", l.load.Processors), fmt.Sprintf("%.0f", l.load.ResidentMB), fmt.Sprintf("%.0f", l.load.PeakMB))
		}
	})
	fmt.Fprintf(&b, "\nThe pages' other end took %.2f processors. %.0f events a second were told, %.0f pages a second made anew.\n\n", r.Clients, r.Events, r.Refreshes)
	table(&b, func(row func(...any)) {
		row(fmt.Sprintf("after the answer of one of %d commands, ms", r.Probes), "p50", "p95", "p99", "of")
		for _, d := range []struct {
			what string
			d    Delays
		}{{"a page is told", r.Told}, {"a page shows it", r.Shown}} {
			row(d.what, ms(d.d.P50), ms(d.d.P95), ms(d.d.P99), d.d.Count)
		}
	})
	fmt.Fprintf(&b, "Pages that were never told: %d.\n\n", r.Missed)
	table(&b, func(row func(...any)) {
		row("page", "open", "bytes at most", "first view p50", "p99", "refresh p50", "p95", "p99", "of")
		for _, k := range r.Kinds {
			row(k.Kind, k.Open, k.MostBytes, ms(k.First.P50), ms(k.First.P99), ms(k.Refreshed.P50), ms(k.Refreshed.P95), ms(k.Refreshed.P99), k.Refreshed.Count)
		}
	})
	_, err := io.WriteString(w, b.String())
	return err
}
