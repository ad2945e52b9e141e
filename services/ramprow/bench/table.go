package bench

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"
)

// WriteTable tells a report to people.
func (r *Report) WriteTable(w io.Writer) error {
	var b strings.Builder
	r.tellThroughput(&b)
	r.tellDiagnosis(&b)
	r.tellDivision(&b)
	_, err := io.WriteString(w, b.String())
	return err
}

func (r *Report) tellThroughput(b *strings.Builder) {
	fmt.Fprintf(b, "Commands to disk: %s.\n", r.Command)
	fmt.Fprintf(b, "Medians of %d rounds of %g s each, %d processors for everything; latencies in ms.\n\n", r.Rounds, r.RoundSeconds, r.Processors)
	table(b, func(row func(...any)) {
		row("callers", "", "per second", "p50", "p95", "p99", "commands are")
		for _, t := range r.Throughput {
			figures := func(callers any, what string, f Figures, times string) {
				row(callers, what, fmt.Sprintf("%.0f", f.PerSecond), ms(f.P50), ms(f.P95), ms(f.P99), times)
			}
			figures(t.Callers, "commands", t.Commands, "")
			figures("", fmt.Sprintf("broker alone, %d bytes", r.PayloadBytes), t.Broker, fmt.Sprintf("%.2f × this", t.TimesBroker))
			figures("", "bare call", t.Bare, fmt.Sprintf("%.2f × this", t.OfBare))
		}
	})
	fmt.Fprintf(b, "\nChecked in the log: %d commands answered, %d written, in %d commits.\n", r.Log.Answered, r.Log.InLog, r.Log.Commits)
	if r.Aim == nil {
		fmt.Fprintf(b, "The aim, %d times the broker at %d callers, was not measured: add --callers %d.\n", aimTimes, aimCallers, aimCallers)
		return
	}
	verdict := "not reached"
	if r.Aim.Reached {
		verdict = "reached"
	}
	fmt.Fprintf(b, "The aim, at least %g times the broker at %d callers: aim %s.\n", r.Aim.Times, r.Aim.Callers, verdict)
}

func (r *Report) tellDiagnosis(b *strings.Builder) {
	d := r.Diagnosis
	if d == nil {
		return
	}
	fmt.Fprintf(b, "\nFrom ConfirmDiagnosis to the booking on the board, %d jobs one after another with %d others on the board:\np50 %s, p95 %s, p99 %s, longest %s ms.\n",
		d.Jobs, d.OnBoard, ms(d.P50), ms(d.P95), ms(d.P99), ms(d.Max))
	if d.Jobs < d.Asked {
		fmt.Fprintf(b, "Its time was over before all %d jobs were there.\n", d.Asked)
	}
}

func (r *Report) tellDivision(b *strings.Builder) {
	fmt.Fprintf(b, "\nWhere the time of a command goes, in ms; medians, every span recorded, which costs time too.\n\n")
	table(b, func(row func(...any)) {
		head := []any{"callers"}
		for _, d := range r.Division {
			head = append(head, d.Callers)
		}
		row(head...)
		for i, stage := range stages {
			cells := []any{stage.name}
			for _, d := range r.Division {
				cells = append(cells, ms(d.Stages[i].MedianMicros/1e3))
			}
			row(cells...)
		}
		cells := []any{"commands in one commit"}
		for _, d := range r.Division {
			cells = append(cells, d.Batch)
		}
		row(cells...)
	})
}

// table aligns rows in columns.
func table(b *strings.Builder, fill func(row func(...any))) {
	w := tabwriter.NewWriter(b, 0, 0, 2, ' ', 0)
	fill(func(cells ...any) {
		for _, cell := range cells {
			_, _ = fmt.Fprintf(w, "%v\t", cell) // a Builder takes everything
		}
		_, _ = fmt.Fprintln(w)
	})
	_ = w.Flush()
}

func ms(millis float64) string { return fmt.Sprintf("%.2f", millis) }
