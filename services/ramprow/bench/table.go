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
	fmt.Fprintf(&b, "Commands to disk: %s.\n", r.Command)
	fmt.Fprintf(&b, "Medians of %d rounds of %g s each, %d processors for everything; latencies in ms.\n", r.Rounds, r.RoundSeconds, r.Processors)
	for _, m := range r.Places {
		fmt.Fprintf(&b, "\n%s\n\n", strings.ToUpper(m.Place))
		m.tellThroughput(&b)
		m.tellDiagnosis(&b)
		m.tellDivision(&b)
	}
	r.tellAims(&b)
	_, err := io.WriteString(w, b.String())
	return err
}

func (m *Measured) tellThroughput(b *strings.Builder) {
	table(b, func(row func(...any)) {
		row("callers", "sites", "", "per second", "p50", "p95", "p99", "CPU us", "kB", "allocs", "commands are")
		for _, t := range m.Throughput {
			figures := func(callers, sites any, what string, f Figures, times string) {
				row(callers, sites, what, fmt.Sprintf("%.0f", f.PerSecond), ms(f.P50), ms(f.P95), ms(f.P99),
					fmt.Sprintf("%.0f", f.CPU), fmt.Sprintf("%.1f", f.Bytes/1e3), fmt.Sprintf("%.0f", f.Allocs), times)
			}
			figures(t.Callers, t.Sites, "commands", t.Commands, "")
			figures("", "", fmt.Sprintf("broker alone, %d bytes", m.PayloadBytes), t.Broker, fmt.Sprintf("%.2f × this", t.TimesBroker))
			figures("", "", "bare call", t.Bare, fmt.Sprintf("%.2f × this", t.OfBare))
		}
	})
	b.WriteString("\nCPU, kB and allocations are this process's for each, callers and read models included.\n")
	fmt.Fprintf(b, "Checked in the log: %d commands answered, %d written, in %d commits.\n", m.Log.Answered, m.Log.InLog, m.Log.Commits)
}

func (m *Measured) tellDiagnosis(b *strings.Builder) {
	d := m.Diagnosis
	if d == nil {
		return
	}
	fmt.Fprintf(b, "\nFrom ConfirmDiagnosis to the booking on the board, %d jobs one after another with %d others on the board:\np50 %s, p95 %s, p99 %s, longest %s ms.\n",
		d.Jobs, d.OnBoard, ms(d.P50), ms(d.P95), ms(d.P99), ms(d.Max))
	if d.Jobs < d.Asked {
		fmt.Fprintf(b, "Its time was over before all %d jobs were there.\n", d.Asked)
	}
}

func (m *Measured) tellDivision(b *strings.Builder) {
	fmt.Fprintf(b, "\nWhere the time of a command goes, in ms; medians, every span recorded, which costs time too.\n\n")
	table(b, func(row func(...any)) {
		head := []any{"callers"}
		for _, d := range m.Division {
			head = append(head, d.Callers)
		}
		row(head...)
		for i, stage := range stages {
			cells := []any{stage.name}
			for _, d := range m.Division {
				cells = append(cells, ms(d.Stages[i].MedianMicros/1e3))
			}
			row(cells...)
		}
		cells := []any{"commands in one commit"}
		for _, d := range m.Division {
			cells = append(cells, d.Batch)
		}
		row(cells...)
	})
}

func (r *Report) tellAims(b *strings.Builder) {
	if len(r.Aims) == 0 {
		fmt.Fprintf(b, "\nNo aim was measured: they are at 1 and at %d callers at one site, and of jobs.\n", aimCallers)
		return
	}
	b.WriteString("\nAIMS\n\n")
	table(b, func(row func(...any)) {
		for _, a := range r.Aims {
			wanted, verdict := "at least", "not reached"
			if a.AtMost {
				wanted = "at most"
			}
			if a.Reached {
				verdict = "reached"
			}
			row(a.Place, a.What, fmt.Sprintf("%s %g", wanted, a.Wanted), fmt.Sprintf("%.2f", a.Measured), verdict)
		}
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
