package bench

import (
	"fmt"
	"io"
	"strings"
)

// WriteTable tells a fight to people.
func (r *HoldsReport) WriteTable(w io.Writer) error {
	var b strings.Builder
	fmt.Fprintf(&b, "%d callers fought for %d parts in %.1f s; the inventory was killed %d times meanwhile.\n",
		r.Callers, r.Parts, r.Seconds, r.Kills)
	fmt.Fprintf(&b, "%d holds asked for: %d given, %d refused. Of the given: %d released, %d expired, %d issued.\n",
		r.Asked, r.Given, r.Refused, r.Released, r.Expired, r.Issued)
	fmt.Fprintf(&b, "In the log: %d received - %d issued %+d counted = %d on hand, as the shelf says of every part.\n",
		r.Pieces.Received, r.Pieces.Issued, r.Pieces.Counted, r.Pieces.OnHand)
	fmt.Fprintf(&b, "No part was promised twice, no hold was half made, and every answer is in the log once.\n")
	fmt.Fprintf(&b, "One order explains all %d answers (linearizable; found in %.1f s).\n", r.Linearized, r.CheckSeconds)
	if len(r.Throughput) > 0 {
		fmt.Fprintf(&b, "\nMedians of %d rounds, %d callers; latencies in ms.\n\n", speedRounds, r.Callers)
		table(&b, func(row func(...any)) {
			row("", "per second", "p50", "p95", "p99", "times the broker")
			for _, t := range r.Throughput {
				row(t.What, fmt.Sprintf("%.0f", t.PerSecond), ms(t.P50), ms(t.P95), ms(t.P99), fmt.Sprintf("%.2f", t.TimesBroker))
			}
		})
	}
	_, err := io.WriteString(w, b.String())
	return err
}
